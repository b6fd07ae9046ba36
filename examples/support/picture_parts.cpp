#include "support/picture_parts.hpp"

#include "support/command_line.hpp"
#include "support/plot.hpp"
#include "support/text.hpp"

namespace examples {
namespace {

namespace fs = std::filesystem;

constexpr const char* common_style = R"(
set encoding utf8
font = 'DejaVu Sans,15'
near_colour = '#d96f00'
far_colour = '#0a78b5'
diameter_colour = '#333333'
low_colour = '#f6d5d0'
set border linewidth 1.2
set tics out nomirror
set xrange [*:*] noextend
set label 1 caution at screen 0.985, screen 0.016 right font 'DejaVu Sans,11' textcolor rgb '#555555' noenhanced
depth_picture = "set terminal pngcairo size 1500,800 font font background rgb 'white'; \
set palette gray; set xlabel 'Time [s]'; set ylabel 'Depth [mm], deeper is down'; \
set yrange [*:*] noextend reverse; set key outside top right horizontal samplen 2; set bmargin at screen 0.13"
)";

constexpr const char* image_style = R"(
set cbrange [-decibel_range:0]
set cblabel scale offset 1.5
image = "binary array=(columns,rows) format='%float32' dx=dx dy=dy origin=(0,top) with image notitle"
)";

}  // namespace

fs::path picture_folder(const Results& results) {
    fs::path folder = results.hidden_folder() / "pictures";
    fs::create_directory(folder);
    return folder;
}

void set_text(std::ostream& script, const std::string& variable, const std::string& text) {
    std::string lines;  // gnuplot breaks lines in double quotes alone
    for (const char c : text) {
        lines += c == '\n' ? "'.\"\\n\".'" : c == '\'' ? "''" : std::string(1, c);
    }
    script << variable << " = '" << lines << "'\n";
}

std::string wrapped(const std::string& text, std::size_t width) {
    std::string out = text;
    std::size_t start = 0;
    while (out.size() - start > width) {
        const std::size_t blank = out.rfind(' ', start + width);
        if (blank == std::string::npos || blank <= start) {
            break;
        }
        out[blank] = '\n';
        start = blank + 1;
    }
    return out;
}

void begin_script(std::ostream& script) {
    set_text(script, "caution", notice);
    script << common_style;
}

float place_image(const MModeImage& picture, double dead_zone, const fs::path& folder,
                  std::ostream& script) {
    const double first = picture.depth(0);
    const double below = first + dead_zone;
    const float top = picture.strongest_below(below);
    picture.write(top, folder / "image.bin");
    set_text(script, "scale",
             text_of("Envelope [dB under the strongest\nechoes below %.1f mm]", 1e3 * below));
    script << "decibel_range = " << decibel_range << "\ncolumns = " << picture.columns()
           << "\nrows = " << picture.rows() << "\ndx = " << picture.column_time()
           << "\ndy = " << 1e3 * (picture.depth(1) - first) << "\ntop = " << 1e3 * first
           << image_style;
    return top;
}

void make_pictures(const fs::path& folder, const std::string& script,
                   const std::vector<std::string>& names, const Results& results) {
    draw(folder, script, names);
    for (const std::string& name : names) {
        fs::rename(folder / name, results.stage(name));
    }
}

}  // namespace examples
