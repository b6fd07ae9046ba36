#include <algorithm>
#include <cmath>
#include <ostream>

#include "support/motion_pictures.hpp"
#include "support/picture_parts.hpp"
#include "support/plot.hpp"
#include "support/text.hpp"

namespace examples {
namespace {

namespace fs = std::filesystem;
using echosieve::DepthRange;
using echosieve::WallReport;

constexpr std::size_t words_width = 150;  // characters across the picture

constexpr const char* failed_m_mode = R"(
set output 'failed_m_mode.png'
eval depth_picture
set tmargin at screen 0.82
set key at screen 0.87, screen 0.85 right font 'DejaVu Sans,12'
set label 2 'No artery found: '.reason at screen 0.5, screen 0.965 center font 'DejaVu Sans,18' noenhanced
set label 3 details at screen 0.5, screen 0.925 center font 'DejaVu Sans,12' textcolor rgb '#a03020' noenhanced
plot 'image.bin' @image, \
  NaN with lines linewidth 2 dashtype 2 linecolor rgb near_colour title near_title, \
  NaN with lines linewidth 2 dashtype 2 linecolor rgb far_colour title far_title, \
  NaN with lines linewidth 2 linecolor rgb '#40c040' title 'end of the dead zone'
)";

// A line across the picture at a depth [m], if that is in the picture.
void add_line(double depth, const MModeImage& image, const char* look, std::ostream& script) {
    const double last = image.depth(static_cast<double>(image.rows()) - 1);
    if (depth >= image.depth(0) && depth <= last) {
        script << "set arrow from graph 0, first " << 1e3 * depth << " to graph 1, first "
               << 1e3 * depth << " nohead front linewidth 2 " << look << '\n';
    }
}

// Where the user told a wall to be.
void add_range(const DepthRange& range, const MModeImage& image, const char* look,
               std::ostream& script) {
    add_line(range.from, image, look, script);
    add_line(range.to, image, look, script);
}

bool is_given(const DepthRange& range) {
    return range.from > 0 || std::isfinite(range.to);
}

}  // namespace

Failure failure_of(const echosieve::ArteryMotion& motion) {
    Failure failure{std::string(describe(motion.status)), {}, {}};
    if (motion.near.displacement.empty()) {
        failure.details = text_of(
            "Coherence of the line's echoes %.2f; %zu frames dropped, %zu "
            "clipped, %zu without contact",
            motion.coherence, motion.dropped, motion.clipped, motion.without_contact);
        return failure;
    }
    const auto words = [](const char* name, const WallReport& wall) {
        return text_of("%s at %.2f mm with confidence %.2f, presence %.2f", name, 1e3 * wall.depth,
                       wall.confidence, wall.presence);
    };
    failure.details =
        "The best pair was not trusted: " + words("near wall", motion.near) + "; " +
        words("far wall", motion.far) +
        ". Presence is 0 or less where tissue explains the echoes as well as a wall does.";
    failure.best_pair = {motion.near.depth, motion.far.depth};
    return failure;
}

std::vector<std::string> draw_failure(const MModeImage& image, const Failure& failure,
                                      const echosieve::TrackOptions& options,
                                      const Results& results) {
    if (image.columns() < 2 || image.rows() < 2) {
        return {};  // no picture
    }
    const fs::path folder = picture_folder(results);
    PlotFile script(folder / "failed.gp");
    std::ostream& out = script.stream();
    begin_script(out);
    place_image(image, options.walls.dead_zone, folder, out);
    set_text(out, "reason", failure.reason);
    set_text(out, "details", wrapped(failure.details, words_width));
    const char* near_look = "dashtype 2 linecolor rgb near_colour";
    const char* far_look = "dashtype 2 linecolor rgb far_colour";
    const bool pair = failure.best_pair.size() == 2;
    const echosieve::WallFinderOptions& walls = options.walls;
    set_text(out, "near_title",
             pair                         ? "best pair, near"
             : is_given(walls.near_range) ? "near wall's range"
                                          : "");
    set_text(out, "far_title",
             pair                        ? "best pair, far"
             : is_given(walls.far_range) ? "far wall's range"
                                         : "");
    if (pair) {
        add_line(failure.best_pair[0], image, near_look, out);
        add_line(failure.best_pair[1], image, far_look, out);
    } else {
        add_range(walls.near_range, image, near_look, out);
        add_range(walls.far_range, image, far_look, out);
    }
    add_line(image.depth(0) + walls.dead_zone, image, "linecolor rgb '#40c040'", out);
    out << failed_m_mode << "set output\n";
    script.close();
    make_pictures(folder, "failed.gp", {failed_picture}, results);
    return {failed_picture};
}

}  // namespace examples
