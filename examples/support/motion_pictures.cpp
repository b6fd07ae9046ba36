#include "support/motion_pictures.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <filesystem>
#include <ostream>
#include <span>
#include <variant>

#include "echosieve/atoms/sampling.hpp"
#include "echosieve/condition/baseband.hpp"
#include "echosieve/motion/artery_motion.hpp"
#include "support/plot.hpp"

namespace examples {
namespace {

namespace fs = std::filesystem;
using echosieve::ArteryMotion;
using echosieve::RecordingSettings;
using echosieve::SamplingGrid;

constexpr double decibel_range = 50;
constexpr Eigen::Index widest_image = 2000;  // columns; more frames are averaged into fewer columns

// Finer in depth than the tracking needs, for the eye.
constexpr echosieve::BasebandOptions fine = {.cutoff = 1.1, .rate = 12};

// Adds the echoes of both walls in a frame to samples on a grid.
template <class T>
void add_walls(const ArteryMotion& motion, std::size_t frame, const RecordingSettings& settings,
               const SamplingGrid& grid, std::span<T> samples) {
    for (const echosieve::WallReport* wall : {&motion.near, &motion.far}) {
        if (wall->strength[frame] == 0) {
            continue;  // not seen
        }
        for (const auto& echo : echosieve::moved_echoes(wall->reference, wall->displacement[frame],
                                                        wall->strength[frame], settings)) {
            echosieve::add(echo, grid, samples);
        }
    }
}

// Envelope of the wall echoes alone, [frames x samples].
Eigen::ArrayXXf wall_envelope(const ArteryMotion& motion, const RecordingSettings& settings,
                              const SamplingGrid& grid) {
    const auto frames = static_cast<Eigen::Index>(motion.frames.size());
    Eigen::ArrayXXf envelope(frames, static_cast<Eigen::Index>(grid.count));
    Eigen::ArrayXcd row(envelope.cols());
    for (Eigen::Index i = 0; i < frames; ++i) {
        row.setZero();
        add_walls(motion, static_cast<std::size_t>(i), settings, grid,
                  std::span(row.data(), grid.count));
        for (Eigen::Index k = 0; k < row.size(); ++k) {
            envelope(i, k) = static_cast<float>(std::abs(row[k]));
        }
    }
    return envelope;
}

// Envelope [frames x samples] -> decibels under `top`, one float a pixel, time running fastest.
// Returns how many frames are one column.
Eigen::Index write_image(const Eigen::ArrayXXf& envelope, float top, const fs::path& file) {
    const Eigen::Index step = (envelope.rows() + widest_image - 1) / widest_image;
    PlotFile out(file);
    std::vector<float> row(static_cast<std::size_t>(envelope.rows() / step));
    for (Eigen::Index k = 0; k < envelope.cols(); ++k) {
        for (std::size_t i = 0; i < row.size(); ++i) {
            const float mean =
                envelope.col(k).segment(static_cast<Eigen::Index>(i) * step, step).mean();
            const double level = 20 * std::log10(std::max(mean / top, 1e-6F));
            row[i] = static_cast<float>(std::max(level, -decibel_range));
        }
        out.stream().write(reinterpret_cast<const char*>(row.data()),
                           static_cast<std::streamsize>(row.size() * sizeof(float)));
    }
    out.close();
    return step;
}

// Time, depths [mm], displacements and their standard deviations [um], diameter [mm] and its own.
void write_motion(const ArteryMotion& motion, const fs::path& file) {
    PlotFile table(file);
    std::ostream& out = table.stream();
    out.precision(9);
    double near_mean = 0;
    double far_mean = 0;
    for (const auto& m : motion) {
        near_mean += m.near_wall / static_cast<double>(motion.frames.size());
        far_mean += m.far_wall / static_cast<double>(motion.frames.size());
    }
    for (const auto& m : motion) {
        if (!m.valid) {
            out << m.time << " NaN NaN NaN NaN NaN NaN NaN NaN\n";
            continue;
        }
        out << m.time << ' ' << 1e3 * m.near_wall << ' ' << 1e3 * m.far_wall << ' '
            << 1e6 * (m.near_wall - near_mean) << ' ' << 1e6 * m.near_wall_std << ' '
            << 1e6 * (m.far_wall - far_mean) << ' ' << 1e6 * m.far_wall_std << ' '
            << 1e3 * m.diameter << ' ' << 1e3 * m.diameter_std << '\n';
    }
    table.close();
}

// One frame as real samples, by linear interpolation of its slowly varying baseband, beside its
// wall echoes: depth [mm], both.
void write_frame(const echosieve::Baseband<float>& baseband, std::size_t frame,
                 const SamplingGrid& grid, const std::vector<double>& walls, const fs::path& file) {
    PlotFile table(file);
    std::ostream& out = table.stream();
    out.precision(9);
    const Eigen::ArrayXcf samples = baseband.samples.row(static_cast<Eigen::Index>(frame));
    const SamplingGrid& from = baseband.grid;
    for (std::size_t i = 0; i < walls.size(); ++i) {
        const double time = grid.time(static_cast<double>(i));
        const double place =
            std::clamp(from.index(time), 0.0, static_cast<double>(from.count) - 1.001);
        const auto k = static_cast<Eigen::Index>(place);
        const double part = place - static_cast<double>(k);
        const std::complex<double> y = (1 - part) * std::complex<double>(samples[k]) +
                                       part * std::complex<double>(samples[k + 1]);
        out << 1e3 * baseband.settings.depth(time) << ' '
            << (y * echosieve::unit_phasor(from.mixing_frequency * time)).real() << ' ' << walls[i]
            << '\n';
    }
    table.close();
}

// What changes from recording to recording stands above it.
constexpr const char* script = R"(
set encoding utf8
set terminal pngcairo size 1500,800 font 'DejaVu Sans,15' background rgb 'white'
near_colour = '#e07b00'
far_colour = '#0a84c6'
set border linewidth 1.2
set tics out nomirror
set cbrange [-decibel_range:0]
set palette gray
set cblabel 'Envelope [dB under the strongest echo]' offset 1.5
set xlabel 'Time [s]'
set ylabel 'Depth [mm]'
set yrange [*:*] reverse
set xrange [*:*] noextend
set yrange [*:*] noextend
set key outside top right horizontal textcolor rgb 'black' samplen 2
image = "binary array=(columns,rows) format='%float32' dx=dx dy=dy origin=(0,top) with image notitle"

set output 'measured_m_mode.png'
set title 'Measured M-mode with both walls followed'
plot 'measured.bin' @image, \
  'motion.txt' using 1:2 with lines linewidth 2 linecolor rgb near_colour title 'near wall', \
  'motion.txt' using 1:3 with lines linewidth 2 linecolor rgb far_colour title 'far wall'

set output 'wall_m_mode.png'
set terminal pngcairo size 1500,1200 font 'DejaVu Sans,15' background rgb 'white'
set multiplot layout 2,1
set lmargin at screen 0.07
set rmargin at screen 0.85
set title 'Measured'
plot 'measured.bin' @image
set title 'Wall echoes alone, same scale'
plot 'isolated.bin' @image
unset multiplot

reset
set terminal pngcairo size 1500,800 font 'DejaVu Sans,15' background rgb 'white'
set border linewidth 1.2
set tics out nomirror
set xrange [*:*] noextend
set grid linecolor rgb '#dddddd'
set output 'frame_echoes.png'
set title sprintf('Frame %d and the wall echoes found in it', frame)
set xlabel 'Depth [mm]'
set ylabel 'Amplitude [units of the recording]'
set key top right
plot 'frame.txt' using 1:2 with lines linewidth 1 linecolor rgb '#888888' title 'measured, band-passed', \
  'frame.txt' using 1:3 with lines linewidth 2 linecolor rgb near_colour title 'wall echoes'

set output 'motion.png'
set terminal pngcairo size 1500,1000 font 'DejaVu Sans,15' background rgb 'white'
unset title
unset xlabel
set multiplot layout 3,1 title 'Motion of the artery (bands: two standard deviations)'
set lmargin 10
set rmargin 3
unset key
band = "with filledcurves fillstyle transparent solid 0.3 noborder fillcolor rgb"
line = "with lines linewidth 1.5 linecolor rgb"
set ylabel 'Near wall [µm]'
plot 'motion.txt' using 1:($4-2*$5):($4+2*$5) @band near_colour, '' using 1:4 @line near_colour
set ylabel 'Far wall [µm]'
plot 'motion.txt' using 1:($6-2*$7):($6+2*$7) @band far_colour, '' using 1:6 @line far_colour
set xlabel 'Time [s]'
set ylabel 'Diameter [mm]'
plot 'motion.txt' using 1:($8-2*$9):($8+2*$9) @band '#333333', '' using 1:8 @line '#333333'
unset multiplot
set output
)";

}  // namespace

std::vector<std::string> draw_pictures(const echosieve::Recording& recording,
                                       const ArteryMotion& motion, Results& results) {
    const RecordingSettings& settings = recording.settings;
    const fs::path scratch = results.hidden_folder() / "pictures";
    fs::create_directory(scratch);
    const auto baseband = std::visit(
        [&](const auto& frames) {
            return echosieve::to_baseband<float>(frames.view(), settings, fine);
        },
        recording.samples);
    const Eigen::ArrayXXf measured = baseband.samples.abs();
    const float top = std::max(measured.maxCoeff(), 1e-30F);
    const Eigen::Index step = write_image(measured, top, scratch / "measured.bin");
    write_image(wall_envelope(motion, settings, baseband.grid), top, scratch / "isolated.bin");
    write_motion(motion, scratch / "motion.txt");
    const auto best = static_cast<std::size_t>(
        std::ranges::max_element(motion.frames, {}, &echosieve::FrameMotion::quality) -
        motion.frames.begin());
    const SamplingGrid grid = settings.grid(recording.sample_count());
    std::vector<double> walls(grid.count);
    add_walls(motion, best, settings, grid, std::span(walls));
    write_frame(baseband, best, grid, walls, scratch / "frame.txt");

    PlotFile out(scratch / "pictures.gp");
    const double first = settings.depth(baseband.grid.time(0));
    out.stream() << "decibel_range = " << decibel_range << "\nframe = " << best
                 << "\ncolumns = " << measured.rows() / step << "\nrows = " << measured.cols()
                 << "\ndx = " << static_cast<double>(step) / settings.frame_rate
                 << "\ndy = " << 1e3 * (settings.depth(baseband.grid.time(1)) - first)
                 << "\ntop = " << 1e3 * first << script;
    out.close();
    const std::vector<std::string> names = {"measured_m_mode.png", "wall_m_mode.png",
                                            "frame_echoes.png", "motion.png"};
    draw(scratch, "pictures.gp", names);
    for (const std::string& name : names) {
        fs::rename(scratch / name, results.stage(name));
    }
    return names;
}

}  // namespace examples
