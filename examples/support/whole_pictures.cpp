#include <algorithm>
#include <cmath>
#include <complex>
#include <limits>
#include <ostream>
#include <variant>

#include "echosieve/atoms/sampling.hpp"
#include "support/motion_panels.hpp"
#include "support/motion_pictures.hpp"
#include "support/picture_parts.hpp"
#include "support/plot.hpp"
#include "support/text.hpp"
#include "support/wall_words.hpp"

namespace examples {
namespace {

namespace fs = std::filesystem;
using echosieve::ArteryMotion;
using echosieve::FrameMotion;
using echosieve::RecordingSettings;
using echosieve::SamplingGrid;
using echosieve::WallReport;

// Adds the echoes of a wall in a frame to samples on a grid.
template <class T>
void add_wall(const WallReport& wall, std::size_t frame, const RecordingSettings& settings,
              const SamplingGrid& grid, std::span<T> samples) {
    if (wall.strength[frame] == 0) {
        return;  // not seen
    }
    for (const auto& echo : echosieve::moved_echoes(wall.reference, wall.displacement[frame],
                                                    wall.strength[frame], settings)) {
        echosieve::add(echo, grid, samples);
    }
}

// The wall echoes alone.
MModeImage wall_image(const ArteryMotion& motion, const echosieve::Recording& recording) {
    MModeImage image(recording.frame_count(), recording.sample_count(), recording.settings);
    const SamplingGrid& grid = image.grid();
    std::vector<std::complex<double>> row(grid.count);
    std::vector<std::complex<float>> narrow(grid.count);
    for (std::size_t i = 0; i < motion.frames.size(); ++i) {
        if (!image.takes(i)) {
            continue;
        }
        std::ranges::fill(row, 0.0);
        add_wall(motion.near, i, recording.settings, grid, std::span(row));
        add_wall(motion.far, i, recording.settings, grid, std::span(row));
        std::ranges::transform(row, narrow.begin(), [](const std::complex<double>& y) {
            return std::complex<float>(y);
        });
        image.add_baseband(i, narrow);
    }
    return image;
}

double mean_of(const ArteryMotion& motion, double FrameMotion::*member) {
    double sum = 0;
    std::size_t count = 0;
    for (const FrameMotion& frame : motion) {
        sum += frame.valid ? frame.*member : 0;
        count += frame.valid ? 1 : 0;
    }
    return sum / static_cast<double>(std::max<std::size_t>(1, count));
}

// Time, depths [mm], displacements and their standard deviations [um], diameter [mm] and its own,
// quality and whether it is low.
void write_frames(const ArteryMotion& motion, const fs::path& file) {
    PlotFile table(file);
    std::ostream& out = table.stream();
    out.precision(9);
    const double near_mean = mean_of(motion, &FrameMotion::near_wall);
    const double far_mean = mean_of(motion, &FrameMotion::far_wall);
    for (const auto& m : motion) {
        out << m.time;
        if (m.valid) {
            out << ' ' << 1e3 * m.near_wall << ' ' << 1e3 * m.far_wall << ' '
                << 1e6 * (m.near_wall - near_mean) << ' ' << 1e6 * m.near_wall_std << ' '
                << 1e6 * (m.far_wall - far_mean) << ' ' << 1e6 * m.far_wall_std << ' '
                << 1e3 * m.diameter << ' ' << 1e3 * m.diameter_std;
        } else {
            out << " NaN NaN NaN NaN NaN NaN NaN NaN";
        }
        out << ' ' << m.quality << ' ' << (m.quality < low_quality ? 1 : 0) << '\n';
    }
    table.close();
}

// What is too small to be seen before the first, and after the last, sample that is not: NaN, which
// gnuplot leaves out.
void blank_ends(std::vector<double>& samples) {
    constexpr double seen = 0.005;  // of the largest
    double largest = 0;
    for (const double x : samples) {
        largest = std::max(largest, std::abs(x));
    }
    const auto is_seen = [&](double x) { return std::abs(x) > seen * largest; };
    const auto first = std::ranges::find_if(samples, is_seen);
    const auto last = std::find_if(samples.rbegin(), samples.rend(), is_seen).base();
    std::fill(samples.begin(), first, std::numeric_limits<double>::quiet_NaN());
    std::fill(std::max(first, last), samples.end(), std::numeric_limits<double>::quiet_NaN());
}

// A frame as real samples, by linear interpolation of its slowly varying baseband, beside each
// wall's echoes: depth [mm], the three. Returns the largest amplitude below a depth [m].
double write_frame(const echosieve::Recording& recording, const ArteryMotion& motion,
                   std::size_t frame, double below, const fs::path& file) {
    MModeImage image(1, recording.sample_count(), recording.settings);
    const auto samples =
        std::visit([&](const auto& matrix) { return image.baseband(matrix.view()[frame]); },
                   recording.samples);
    const SamplingGrid& from = image.grid();
    const SamplingGrid grid = recording.settings.grid(recording.sample_count());
    std::vector<double> near(grid.count);
    std::vector<double> far(grid.count);
    add_wall(motion.near, frame, recording.settings, grid, std::span(near));
    add_wall(motion.far, frame, recording.settings, grid, std::span(far));
    blank_ends(near);
    blank_ends(far);
    PlotFile table(file);
    table.stream().precision(9);
    double largest = 0;
    for (std::size_t i = 0; i < grid.count; ++i) {
        const double time = grid.time(static_cast<double>(i));
        const double place =
            std::clamp(from.index(time), 0.0, static_cast<double>(from.count) - 1.001);
        const auto k = static_cast<std::size_t>(place);
        const double part = place - static_cast<double>(k);
        const std::complex<double> y = (1 - part) * std::complex<double>(samples[k]) +
                                       part * std::complex<double>(samples[k + 1]);
        const double depth = recording.settings.depth(time);
        const double value = (y * echosieve::unit_phasor(from.mixing_frequency * time)).real();
        largest = depth > below ? std::max(largest, std::abs(value)) : largest;
        table.stream() << 1e3 * depth << ' ' << value << ' ' << near[i] << ' ' << far[i] << '\n';
    }
    table.close();
    return largest;
}

constexpr const char* m_modes = R"(
set output 'measured_m_mode.png'
eval depth_picture
set title 'Measured M-mode with both walls followed; '.layers noenhanced
plot 'image.bin' @image, \
  'motion.txt' using 1:2 with lines linewidth 2 linecolor rgb near_colour title 'near wall', \
  'motion.txt' using 1:3 with lines linewidth 2 linecolor rgb far_colour title 'far wall'

set output 'wall_m_mode.png'
set terminal pngcairo size 1500,1200 font font background rgb 'white'
set multiplot
set lmargin at screen 0.07
set rmargin at screen 0.84
set tmargin at screen 0.95
set bmargin at screen 0.57
set title 'Measured'.of noenhanced
unset xlabel
plot 'image.bin' @image
unset label 1
set xlabel 'Time [s]'
set tmargin at screen 0.47
set bmargin at screen 0.09
set title 'Wall echoes alone, same scale'
plot 'isolated.bin' @image
unset multiplot
reset
)";

// Amplitudes across, so that depth goes down here too.
constexpr const char* one_frame = R"(
set output 'frame_echoes.png'
set terminal pngcairo size 1000,1400 font font background rgb 'white'
set grid linecolor rgb '#dddddd'
set title frame_title.of noenhanced
set xlabel 'Amplitude [units of the recording]'
set ylabel 'Depth [mm], deeper is down'
set yrange [*:*] noextend reverse
set xrange [-1.9*largest:1.15*largest]
set bmargin at screen 0.08
set key bottom left samplen 2
set arrow 1 from graph 0, first near_depth to graph 1, first near_depth nohead dashtype 2 linewidth 1.5 linecolor rgb near_colour
set arrow 2 from graph 0, first far_depth to graph 1, first far_depth nohead dashtype 2 linewidth 1.5 linecolor rgb far_colour
set label 11 near_label at graph 0.02, first near_depth offset 0, 0.6 textcolor rgb near_colour noenhanced
set label 12 far_label at graph 0.02, first far_depth offset 0, 0.6 textcolor rgb far_colour noenhanced
plot 'frame.txt' using 2:1 with lines linewidth 1 linecolor rgb '#888888' title 'measured, band-passed', \
  'frame.txt' using 3:1 with lines linewidth 2 linecolor rgb near_colour title 'echoes of the near wall', \
  'frame.txt' using 4:1 with lines linewidth 2 linecolor rgb far_colour title 'echoes of the far wall'
reset
)";

// Two standard deviations in the median frame, and whether the line hides that.
std::string band_words(const ArteryMotion& motion, double FrameMotion::*value,
                       double FrameMotion::*deviation) {
    constexpr double line = 0.01;  // thickness over the panel's height
    std::vector<double> deviations;
    double smallest = INFINITY;
    double largest = -INFINITY;
    for (const FrameMotion& frame : motion) {
        if (frame.valid) {
            deviations.push_back(frame.*deviation);
            smallest = std::min(smallest, frame.*value - 2 * frame.*deviation);
            largest = std::max(largest, frame.*value + 2 * frame.*deviation);
        }
    }
    if (deviations.empty()) {
        return "no valid frame";
    }
    const auto middle = deviations.begin() + static_cast<std::ptrdiff_t>(deviations.size() / 2);
    std::ranges::nth_element(deviations, middle);
    return text_of("band ± %.1f µm in the median frame%s", 2e6 * *middle,
                   4 * *middle < line * (largest - smallest) ? ", thinner than the line" : "");
}

std::string wall_title(const ArteryMotion& motion, bool far) {
    const WallReport& wall = far ? motion.far : motion.near;
    const std::string band =
        far ? band_words(motion, &FrameMotion::far_wall, &FrameMotion::far_wall_std)
            : band_words(motion, &FrameMotion::near_wall, &FrameMotion::near_wall_std);
    const bool separable = wall.separable;
    return text_of("%s wall, %.2f mm deep: %s; %s%s", far ? "Far" : "Near", 1e3 * wall.depth,
                   band.c_str(), limit_words(wall.limit).c_str(),
                   separable ? "" : "; NOT SEPARABLE from the tissue on it");
}

PanelTitles titles_of(const ArteryMotion& motion, echosieve::WallLayer layer,
                      const std::string& of) {
    double smallest = INFINITY;
    double largest = -INFINITY;
    for (const FrameMotion& frame : motion) {
        smallest = frame.valid ? std::min(smallest, frame.diameter) : smallest;
        largest = frame.valid ? std::max(largest, frame.diameter) : largest;
    }
    PanelTitles titles;
    titles.picture =
        "Motion of the artery" + of + " (bands: two standard deviations, gain included)";
    titles.remark = less_sure_words(motion);
    titles.near = wall_title(motion, false);
    titles.far = wall_title(motion, true);
    titles.diameter =
        text_of("Diameter, %s, %.3f to %.3f mm: %s", std::string(diameter_words(layer)).c_str(),
                1e3 * smallest, 1e3 * largest,
                band_words(motion, &FrameMotion::diameter, &FrameMotion::diameter_std).c_str());
    return titles;
}

PanelPlots plots_of_frames() {
    const auto panel = [](int value, const char* colour) {
        const std::string v = "$" + std::to_string(value);
        const std::string d = "$" + std::to_string(value + 1);
        return "'' using 1:(" + v + "-2*" + d + "):(" + v + "+2*" + d + ") @band " + colour +
               ", '' using 1:" + std::to_string(value) + " @line " + colour;
    };
    return {panel(4, "near_colour"), panel(6, "far_colour"), panel(8, "diameter_colour"),
            "'' using 1:10 @line diameter_colour", 11};
}

// What changes from recording to recording in the picture of a frame.
void describe_frame(const FrameMotion& frame, std::size_t index, double largest,
                    std::ostream& script) {
    set_text(script, "frame_title",
             text_of("Frame %zu (%.3f s) and the wall echoes found in it", index, frame.time));
    set_text(script, "near_label", text_of("near wall, %.2f mm", 1e3 * frame.near_wall));
    set_text(script, "far_label", text_of("far wall, %.2f mm", 1e3 * frame.far_wall));
    script << "near_depth = " << 1e3 * frame.near_wall << "\nfar_depth = " << 1e3 * frame.far_wall
           << "\nlargest = " << std::max(largest, 1e-30) << one_frame;
}

}  // namespace

MModeImage image_of(const echosieve::Recording& recording) {
    MModeImage image(recording.frame_count(), recording.sample_count(), recording.settings);
    std::visit(
        [&](const auto& matrix) {
            const auto frames = matrix.view();
            for (std::size_t i = 0; i < frames.frames(); ++i) {
                image.add(i, frames[i]);
            }
        },
        recording.samples);
    return image;
}

std::vector<std::string> draw_pictures(const echosieve::Recording& recording,
                                       const ArteryMotion& motion,
                                       const echosieve::TrackOptions& options,
                                       const Results& results, const std::string& of) {
    const fs::path folder = picture_folder(results);
    PlotFile script(folder / "pictures.gp");
    std::ostream& out = script.stream();
    const echosieve::WallLayer layer = options.separation.reference.layer;
    const double dead_zone = options.walls.dead_zone;

    begin_script(out);
    set_text(out, "layers", "depths of their " + std::string(layer_words(layer)) + "s" + of);
    set_text(out, "of", of);
    const MModeImage measured = image_of(recording);
    const float top = place_image(measured, dead_zone, folder, out);
    wall_image(motion, recording).write(top, folder / "isolated.bin");
    write_frames(motion, folder / "motion.txt");
    out << m_modes;

    begin_script(out);
    const auto best = static_cast<std::size_t>(
        std::ranges::max_element(motion.frames, {}, &FrameMotion::quality) - motion.frames.begin());
    const double largest =
        write_frame(recording, motion, best, measured.depth(0) + dead_zone, folder / "frame.txt");
    describe_frame(motion.frames[best], best, largest, out);

    begin_script(out);
    draw_panels(titles_of(motion, layer, of), plots_of_frames(), out);
    script.close();
    const std::vector<std::string> names = {"measured_m_mode.png", "wall_m_mode.png",
                                            "frame_echoes.png", "motion.png"};
    make_pictures(folder, "pictures.gp", names, results);
    return names;
}

}  // namespace examples
