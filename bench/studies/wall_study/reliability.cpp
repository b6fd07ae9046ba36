#include "reliability.hpp"

#include <cstddef>
#include <string>

#include "support/command_line.hpp"
#include "support/plot.hpp"

namespace wall_study {
namespace {

constexpr double fewest_frames = 200;  // of a point

// Mean quality, part within, frames, of each tenth of the quality.
void write_points(const std::vector<Row>& rows, Simulator simulator,
                  const std::filesystem::path& file) {
    examples::PlotFile table(file);
    for (std::size_t k = 0; k < Row{}.bins.size(); ++k) {
        QualityBin sum;
        for (const Row& row : rows) {
            if (row.simulator == simulator) {
                sum.count += row.bins[k].count;
                sum.quality += row.bins[k].quality;
                sum.within += row.bins[k].within;
            }
        }
        if (sum.count >= fewest_frames) {
            table.stream() << sum.quality / sum.count << ' ' << sum.within / sum.count << ' '
                           << sum.count << '\n';
        }
    }
    table.close();
}

constexpr const char* script = R"(
set encoding utf8
set terminal pngcairo size 1000,860 font 'DejaVu Sans,15' background rgb 'white'
set output 'reliability.png'
set border 3 linewidth 1.2
set tics out nomirror
set grid linecolor rgb '#dddddd'
set xrange [0:1]
set yrange [0:1.02]
set xlabel 'Quality of a frame''s wall: the chance that it says'
set ylabel 'Part of the frames within 20 µm of the truth'
set key bottom right
set label 1 notice at screen 0.5,0.015 center font ',11' textcolor rgb '#666666'
set bmargin 5
)";

}  // namespace

void draw_reliability(const std::vector<Row>& rows, const std::filesystem::path& scratch,
                      const std::filesystem::path& file) {
    constexpr std::array<const char*, simulators.size()> colours = {"#0072b2", "#d55e00",
                                                                    "#009e73"};
    examples::PlotFile out(scratch / "reliability.gp");
    out.stream() << "notice = "
                 << examples::plot_quoted(std::string("Synthetic data. ") + examples::notice)
                 << script
                 << "plot x with lines linecolor rgb '#888888' dashtype 2 title 'as said'";
    for (std::size_t k = 0; k < simulators.size(); ++k) {
        const std::string table = std::string(simulator_names[k]) + ".txt";
        write_points(rows, simulators[k], scratch / table);
        out.stream() << ", '" << table << "' using 1:2 with linespoints linewidth 2 pointtype 7 "
                     << "pointsize 1.3 linecolor rgb '" << colours[k] << "' title '"
                     << simulator_names[k] << "'";
    }
    out.stream() << '\n';
    out.close();
    examples::draw(scratch, "reliability.gp", {"reliability.png"});
    std::filesystem::rename(scratch / "reliability.png", file);
}

}  // namespace wall_study
