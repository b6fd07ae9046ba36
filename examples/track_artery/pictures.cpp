#include "pictures.hpp"

#include <algorithm>
#include <cmath>
#include <ostream>

#include "support/plot.hpp"

namespace track_artery {
namespace {

namespace fs = std::filesystem;

constexpr double decibel_range = 50;
constexpr Eigen::Index widest_image = 2000;  // columns; more frames are averaged into fewer columns

// As gnuplot, which runs beside the file, reads its name.
std::string quoted(const fs::path& file) {
    return examples::plot_quoted(file.filename().string());
}

struct Image {
    Eigen::Index columns = 0;
    double seconds_per_column = 0;
};

// Envelope [frames x samples] -> decibels under `top`, one float a pixel, time running fastest.
Image write_image(const Eigen::ArrayXXf& envelope, float top, double frame_rate,
                  const fs::path& file) {
    const Eigen::Index step = (envelope.rows() + widest_image - 1) / widest_image;
    const Eigen::Index columns = envelope.rows() / step;
    examples::PlotFile out(file);
    std::vector<float> row(static_cast<std::size_t>(columns));
    for (Eigen::Index k = 0; k < envelope.cols(); ++k) {
        for (Eigen::Index i = 0; i < columns; ++i) {
            const float mean = envelope.col(k).segment(i * step, step).mean();
            const double level = 20 * std::log10(std::max(mean / top, 1e-6F));
            row[static_cast<std::size_t>(i)] = static_cast<float>(std::max(level, -decibel_range));
        }
        out.stream().write(reinterpret_cast<const char*>(row.data()),
                           static_cast<std::streamsize>(row.size() * sizeof(float)));
    }
    out.close();
    return {columns, static_cast<double>(step) / frame_rate};
}

std::string image_plot(const Image& image, const PictureData& data, const fs::path& file) {
    const auto& settings = *data.settings;
    const double millimetres = 1e3;
    const double dy =
        millimetres * (settings.depth(data.grid.time(1)) - settings.depth(data.grid.time(0)));
    return quoted(file) + " binary array=(" + std::to_string(image.columns) + "," +
           std::to_string(data.grid.count) +
           ") format='%float32' dx=" + std::to_string(image.seconds_per_column) +
           " dy=" + std::to_string(dy) + " origin=(0," +
           std::to_string(millimetres * settings.depth(data.grid.time(0))) + ") with image notitle";
}

void write_motion(const echosieve::ArteryMotion& motion, const fs::path& file) {
    examples::PlotFile table(file);
    std::ostream& out = table.stream();
    out.precision(9);
    double near_mean = 0;
    double far_mean = 0;
    for (const auto& m : motion) {
        near_mean += m.near_wall / static_cast<double>(motion.frames.size());
        far_mean += m.far_wall / static_cast<double>(motion.frames.size());
    }
    // time, depths [mm], displacements and their standard deviations [um], diameter [mm] and its
    // own
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

void write_frame(const PictureData& data, const fs::path& file) {
    examples::PlotFile table(file);
    std::ostream& out = table.stream();
    out.precision(9);
    for (Eigen::Index i = 0; i < data.frame.size(); ++i) {
        out << 1e3 * data.settings->depth(data.frame_grid.time(static_cast<double>(i))) << ' '
            << data.frame[i] << ' ' << data.frame_walls[i] << '\n';
    }
    table.close();
}

constexpr const char* style = R"(
set encoding utf8
set terminal pngcairo size 1500,800 font 'DejaVu Sans,15' background rgb 'white'
near_colour = '#e07b00'
far_colour = '#0a84c6'
set border linewidth 1.2
set tics out nomirror
)";

constexpr const char* m_mode_style = R"(
set palette gray
set cblabel 'Envelope [dB under the strongest echo]' offset 1.5
set xlabel 'Time [s]'
set ylabel 'Depth [mm]'
set yrange [*:*] reverse
set xrange [*:*] noextend
set yrange [*:*] noextend
set key outside top right horizontal textcolor rgb 'black' samplen 2
)";

}  // namespace

std::vector<std::string> draw_pictures(const PictureData& data, examples::Results& results) {
    const fs::path scratch = results.hidden_folder() / "pictures";
    fs::create_directory(scratch);
    const fs::path measured = scratch / "measured.bin";
    const fs::path isolated = scratch / "isolated.bin";
    const fs::path motion = scratch / "motion.txt";
    const fs::path frame = scratch / "frame.txt";
    const float top = std::max(data.measured.maxCoeff(), 1e-30F);
    const double frame_rate = data.settings->frame_rate;
    const Image measured_image = write_image(data.measured, top, frame_rate, measured);
    const Image isolated_image = write_image(data.isolated, top, frame_rate, isolated);
    write_motion(*data.motion, motion);
    write_frame(data, frame);

    examples::PlotFile script(scratch / "pictures.gp");
    std::ostream& out = script.stream();
    const auto output = [&](const char* name) { out << "set output " << quoted(name) << '\n'; };
    out << style << "set cbrange [-" << decibel_range << ":0]\n" << m_mode_style;
    output("measured_m_mode.png");
    out << "set title 'Measured M-mode with both walls followed'\n"
        << "plot " << image_plot(measured_image, data, measured) << ", \\\n  " << quoted(motion)
        << " using 1:2 with lines linewidth 2 linecolor rgb near_colour title 'near wall', \\\n  "
        << quoted(motion)
        << " using 1:3 with lines linewidth 2 linecolor rgb far_colour title 'far wall'\n";
    output("wall_m_mode.png");
    out << "set terminal pngcairo size 1500,1200 font 'DejaVu Sans,15' background rgb 'white'\n"
        << "set multiplot layout 2,1\nset lmargin at screen 0.07\nset rmargin at screen 0.85\n"
        << "set title 'Measured'\nplot " << image_plot(measured_image, data, measured)
        << "\nset title 'Wall echoes alone, same scale'\nplot "
        << image_plot(isolated_image, data, isolated) << "\nunset multiplot\n";
    out << "reset\n" << style;
    output("frame_echoes.png");
    out << "set title 'Frame " << data.frame_index << " and the wall echoes found in it'\n"
        << "set xlabel 'Depth [mm]'\nset ylabel 'Amplitude [units of the recording]'\n"
        << "set grid linecolor rgb '#dddddd'\nset xrange [*:*] noextend\nset key top right\n"
        << "plot " << quoted(frame)
        << " using 1:2 with lines linewidth 1 linecolor rgb '#888888' title 'measured, "
           "band-passed', \\\n  "
        << quoted(frame)
        << " using 1:3 with lines linewidth 2 linecolor rgb near_colour title 'wall echoes'\n"
        << "reset\n"
        << style;
    output("motion.png");
    out << "set terminal pngcairo size 1500,1000 font 'DejaVu Sans,15' background rgb 'white'\n"
        << "set multiplot layout 3,1 title 'Motion of the artery (bands: two standard "
           "deviations)'\n"
        << "set grid linecolor rgb '#dddddd'\nset lmargin 10\nset rmargin 3\nunset key\n"
        << "set xrange [*:*] noextend\n";
    const auto panel = [&](const char* label, int value, int deviation, const char* colour) {
        out << "set ylabel '" << label << "'\nplot " << quoted(motion) << " using 1:($" << value
            << "-2*$" << deviation << "):($" << value << "+2*$" << deviation
            << ") with filledcurves fillcolor rgb " << colour
            << " fillstyle transparent solid 0.3 noborder, " << quoted(motion)
            << " using 1:" << value << " with lines linewidth 1.5 linecolor rgb " << colour << '\n';
    };
    panel("Near wall [µm]", 4, 5, "near_colour");
    panel("Far wall [µm]", 6, 7, "far_colour");
    out << "set xlabel 'Time [s]'\n";
    panel("Diameter [mm]", 8, 9, "'#333333'");
    out << "unset multiplot\nset output\n";
    script.close();

    const std::vector<std::string> names = {"measured_m_mode.png", "wall_m_mode.png",
                                            "frame_echoes.png", "motion.png"};
    examples::draw(scratch, "pictures.gp", names);
    for (const std::string& name : names) {
        fs::rename(scratch / name, results.stage(name));
    }
    return names;
}

}  // namespace track_artery
