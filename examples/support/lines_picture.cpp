#include "support/lines_picture.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <filesystem>
#include <ostream>
#include <string>

#include "support/lines_report.hpp"
#include "support/picture_parts.hpp"
#include "support/plot.hpp"
#include "support/text.hpp"

namespace examples {
namespace {

namespace fs = std::filesystem;
using echosieve::FrameMotion;
using echosieve::LineMotion;
using echosieve::LinesMotion;

constexpr std::size_t remark_width = 165;  // characters across the picture

constexpr const char* time_panels = R"(
set output 'lines.png'
set terminal pngcairo size 1500,1300 font font background rgb 'white'
line_colour = '#5aa0d0'
set lmargin at screen 0.085
set rmargin at screen 0.985
set label 2 picture_title at screen 0.5, screen 0.982 center font 'DejaVu Sans,18' noenhanced
set label 3 remark at screen 0.5, screen 0.955 center font 'DejaVu Sans,12' textcolor rgb '#a03020' noenhanced
set label 4 upper_title at graph 0, graph 1 left offset 0, 0.6 font 'DejaVu Sans,13' noenhanced
set style fill transparent solid 0.35 noborder
set multiplot
set tmargin at screen 0.885
set bmargin at screen 0.615
set yrange [*:*]
set ylabel 'Distension [µm]'
set key at graph 1, graph 1.11 right top horizontal samplen 2 font 'DejaVu Sans,13'
plot for [k=4:lines+3] 'lines.txt' using 1:k with lines linewidth 1 linecolor rgb line_colour \
    title (k == 4 ? 'a line each' : ''), \
  '' using 1:($2-2*$3):($2+2*$3) with filledcurves fillcolor rgb diameter_colour notitle, \
  '' using 1:2 with lines linewidth 1.5 linecolor rgb diameter_colour title 'the artery'
unset label 1
unset label 2
unset label 3
unset key
set label 4 middle_title
set tmargin at screen 0.545
set bmargin at screen 0.405
set xlabel 'Time [s]'
set ylabel 'Difference [µm]'
set ytics font 'DejaVu Sans,12'
plot 'lines.txt' using 1:(-2*$3):(2*$3) with filledcurves fillcolor rgb diameter_colour, \
  for [k=4:lines+3] '' using 1:(column(k)-$2) with lines linewidth 1 linecolor rgb line_colour, \
  0 with lines linewidth 1.5 linecolor rgb diameter_colour
set ytics font font
set label 4 lower_title offset 0, 1.7
set tmargin at screen 0.285
set bmargin at screen 0.085
set ylabel 'Delay [ms]'
)";

// Room beside the outermost lines, as a part of their span.
constexpr const char* delay_panel = R"(
stats 'delays.txt' using 1 nooutput
room = STATS_max > STATS_min ? 0.06*(STATS_max-STATS_min) : 1
set xrange [STATS_min-room:STATS_max+room]
set yrange [*:*] extend
set offsets 0, 0, graph 0.08, graph 0.08
set arrow 1 from graph 0, first 0 to graph 1, first 0 nohead linecolor rgb '#bbbbbb'
set xlabel place_label
eval place_ticks
unset key
plot fitted ? fit_intercept + fit_slope*x : NaN with lines linewidth 2 linecolor rgb diameter_colour, \
  'delays.txt' using 1:2:(2*$3) with yerrorbars pointtype 7 pointsize 1.2 linewidth 2 linecolor rgb line_colour
)";

constexpr const char* no_delay_panel = R"(
set xrange [0:1]
set yrange [0:1]
unset xtics
unset ytics
unset border
unset xlabel
unset ylabel
unset key
plot NaN
)";

// Whole numbers at the ticks of lines, ten or so of them.
std::size_t line_ticks(std::size_t lines) {
    constexpr std::size_t most_ticks = 12;
    return (lines + most_ticks - 1) / most_ticks;
}

// Mean diameter over the valid frames [m].
double mean_diameter(const std::vector<FrameMotion>& frames) {
    double sum = 0;
    std::size_t count = 0;
    for (const FrameMotion& frame : frames) {
        sum += frame.valid ? frame.diameter : 0;
        count += frame.valid ? 1 : 0;
    }
    return sum / static_cast<double>(std::max<std::size_t>(1, count));
}

std::vector<const LineMotion*> followed(const LinesMotion& motion) {
    std::vector<const LineMotion*> lines;
    for (const LineMotion& line : motion.lines) {
        if (line.weight > 0) {
            lines.push_back(&line);
        }
    }
    return lines;
}

// Time, the artery's distension and its deviation, each line's distension [um].
void write_distensions(const LinesMotion& motion, const fs::path& file) {
    constexpr std::size_t most_rows = 5600;  // four a pixel: more only take time
    const std::size_t step = (motion.frames.size() + most_rows - 1) / most_rows;
    const std::vector<const LineMotion*> lines = followed(motion);
    std::vector<double> means;
    for (const LineMotion* line : lines) {
        means.push_back(mean_diameter(line->motion.frames));
    }
    const double mean = mean_diameter(motion.frames);
    PlotFile table(file);
    std::ostream& out = table.stream();
    out.precision(9);
    const auto put = [&out](const FrameMotion& frame, double of) {
        frame.valid ? out << ' ' << 1e6 * (frame.diameter - of) : out << " NaN";
    };
    for (std::size_t i = 0; i < motion.frames.size(); i += std::max<std::size_t>(1, step)) {
        const FrameMotion& frame = motion.frames[i];
        out << frame.time;
        put(frame, mean);
        out << ' ' << 1e6 * frame.diameter_std;
        for (std::size_t k = 0; k < lines.size(); ++k) {
            put(lines[k]->motion.frames[i], means[k]);
        }
        out << '\n';
    }
    table.close();
}

// Where each delay stands [mm], or at its line's number; how many there are; their weighted mean.
struct Delays {
    std::size_t count = 0;
    double place = 0;
    double delay = 0;  // [ms]
};

Delays write_delays(const LinesMotion& motion, const std::vector<double>& positions,
                    const fs::path& file) {
    PlotFile table(file);
    table.stream().precision(9);
    Delays mean;
    double sum = 0;
    for (std::size_t k = 0; k < motion.lines.size(); ++k) {
        const LineMotion& line = motion.lines[k];
        if (line.delay && line.delay->deviation > 0) {
            const double place =
                positions.empty() ? static_cast<double>(k + 1) : 1e3 * positions[k];
            const double delay = 1e3 * line.delay->value;
            const double deviation = 1e3 * line.delay->deviation;
            const double weight = 1 / (deviation * deviation);
            table.stream() << place << ' ' << delay << ' ' << deviation << '\n';
            mean.place += weight * place;
            mean.delay += weight * delay;
            sum += weight;
            ++mean.count;
        }
    }
    table.close();
    mean.place /= sum > 0 ? sum : 1;
    mean.delay /= sum > 0 ? sum : 1;
    return mean;
}

std::string left_out_lines(const LinesMotion& motion) {
    std::string text;
    for (std::size_t k = 0; k < motion.lines.size(); ++k) {
        const std::string why = left_out_words(motion.lines[k]);
        if (!why.empty()) {
            text += (text.empty() ? "Left out: line " : "; line ") + std::to_string(k + 1) + " (" +
                    why + ")";
        }
    }
    constexpr std::size_t most = 2 * remark_width - 20;  // two lines, whose ends are ragged
    return text.size() <= most
               ? text
               : text_of("Left out: %zu of %zu lines, named in summary.json",
                         motion.lines.size() - motion.followed(), motion.lines.size());
}

std::string upper_title(const LinesMotion& motion) {
    double square = 0;
    std::size_t count = 0;
    for (const FrameMotion& frame : motion.frames) {
        square += frame.valid ? frame.diameter_std * frame.diameter_std : 0;
        count += frame.valid ? 1 : 0;
    }
    return text_of(
        "Distension, the diameter less its mean; band ± %.1f µm, two standard deviations",
        2e6 * std::sqrt(square / static_cast<double>(std::max<std::size_t>(1, count))));
}

std::string lower_title(const Delays& delays, const echosieve::LinesPlacement& placement) {
    constexpr const char* bars = "; bars: two standard deviations";
    if (delays.count < 2) {
        return "Delay of the pulse: none, since it takes two lines that are followed";
    }
    const std::string title = "Delay of the pulse against the mean of the lines";
    return placement.delay_per_metre ? title + bars + "\n" + speed_in_words(placement)
                                     : title + bars;
}

}  // namespace

void draw_lines(const LinesMotion& motion, const std::vector<double>& positions,
                const Results& results) {
    const fs::path folder = picture_folder(results);
    write_distensions(motion, folder / "lines.txt");
    const Delays delays = write_delays(motion, positions, folder / "delays.txt");
    PlotFile script(folder / "lines.gp");
    std::ostream& out = script.stream();
    begin_script(out);
    set_text(
        out, "picture_title",
        text_of("One artery in %zu lines, %zu followed", motion.lines.size(), motion.followed()));
    set_text(out, "remark", wrapped(left_out_lines(motion), remark_width));
    set_text(out, "upper_title", upper_title(motion));
    set_text(out, "middle_title", "Each line less the artery, with the artery's band");
    set_text(out, "lower_title", lower_title(delays, motion.placement));
    set_text(out, "place_label",
             positions.empty() ? "Line (positions along the vessel are not known)"
                               : "Position along the vessel [mm]");
    if (positions.empty() && delays.count > 1) {
        set_text(out, "place_ticks", text_of("set xtics %zu", line_ticks(motion.lines.size())));
    } else {
        set_text(out, "place_ticks", "");
    }
    const auto& slope = motion.placement.delay_per_metre;  // [s/m], which is [ms/mm]
    const bool fitted = slope && delays.count > 1 && !positions.empty();
    out << "lines = " << motion.followed() << "\nfitted = " << (fitted ? 1 : 0)
        << "\nfit_slope = " << (fitted ? slope->value : 0)
        << "\nfit_intercept = " << (fitted ? delays.delay - slope->value * delays.place : 0)
        << time_panels << (delays.count > 1 ? delay_panel : no_delay_panel)
        << "unset multiplot\nset output\n";
    script.close();
    make_pictures(folder, "lines.gp", {lines_picture}, results);
}

}  // namespace examples
