#include <algorithm>
#include <ostream>

#include "support/motion_panels.hpp"
#include "support/motion_pictures.hpp"
#include "support/picture_parts.hpp"
#include "support/plot.hpp"
#include "support/text.hpp"
#include "support/wall_words.hpp"

namespace examples {
namespace {

namespace fs = std::filesystem;
using echosieve::BlockRecord;

constexpr const char* block_m_mode = R"(
set output 'measured_m_mode.png'
eval depth_picture
set title 'Measured M-mode with both walls followed; '.layers noenhanced
plot 'image.bin' @image, \
  'motion.txt' using 1:($14+0.0005*($2+$3)) with lines linewidth 2 linecolor rgb near_colour title 'near wall', \
  'motion.txt' using 1:($15+0.0005*($5+$6)) with lines linewidth 2 linecolor rgb far_colour title 'far wall'
reset
)";

// The times at which a step is left in the depths.
std::size_t write_steps(const std::vector<BlockRecord>& blocks, const fs::path& file) {
    PlotFile table(file);
    std::size_t count = 0;
    for (const BlockRecord& block : blocks) {
        if (block.seam == echosieve::Seam::broken) {
            table.stream() << block.start << " 1\n";
            ++count;
        }
    }
    if (count == 0) {
        table.stream() << "NaN NaN\n";  // gnuplot wants a line
    }
    table.close();
    return count;
}

// Lighter with two standard deviations around, the range of a column in it.
PanelPlots plots_of_columns() {
    const auto panel = [](int first, const char* colour) {
        const std::string low = "$" + std::to_string(first);
        const std::string high = "$" + std::to_string(first + 1);
        const std::string two = "2*$" + std::to_string(first + 2);
        const std::string range = std::to_string(first) + ":" + std::to_string(first + 1);
        return "'' using 1:(" + low + "-" + two + "):(" + high + "+" + two +
               ") with filledcurves fillstyle solid 0.25 noborder fillcolor rgb " + colour +
               ", '' using 1:" + range +
               " with filledcurves fillstyle solid 0.9 border linecolor rgb " + colour +
               " fillcolor rgb " + colour +
               ", 'steps.txt' using 1:2 axes x1y2 with impulses linewidth 1.5 dashtype 2 linecolor "
               "rgb '#a03020'";
    };
    return {panel(2, "near_colour"), panel(5, "far_colour"), panel(8, "diameter_colour"),
            "'' using 1:12 with lines linewidth 1 linecolor rgb '#aaaaaa', '' using 1:11 @line "
            "diameter_colour",
            13};
}

PanelTitles titles_of(const std::vector<BlockRecord>& blocks, std::size_t steps,
                      echosieve::WallLayer layer) {
    const auto with_walls = std::ranges::count_if(
        blocks, [](const BlockRecord& block) { return block.fitted_count > 0; });
    PanelTitles titles;
    titles.picture = "Motion of the artery, followed in blocks";
    titles.remark =
        text_of("%zu blocks, walls in %td of them%s", blocks.size(), with_walls,
                steps == 0 ? ""
                           : ". Dashed lines: blocks that contradict each other, a step "
                             "is left in the depths");
    titles.near = "Near wall: range in each column (full), two standard deviations around (light)";
    titles.far = "Far wall";
    titles.diameter = "Diameter, " + std::string(diameter_words(layer));
    return titles;
}

}  // namespace

std::vector<std::string> draw_block_pictures(const BlockPictures& pictures,
                                             const std::vector<BlockRecord>& blocks,
                                             const echosieve::TrackOptions& options,
                                             const Results& results) {
    const fs::path folder = picture_folder(results);
    PlotFile script(folder / "pictures.gp");
    std::ostream& out = script.stream();
    const echosieve::WallLayer layer = options.separation.reference.layer;
    begin_script(out);
    set_text(out, "layers", "depths of their " + std::string(layer_words(layer)) + "s");
    place_image(pictures.image, options.walls.dead_zone, folder, out);
    pictures.motion.write(folder / "motion.txt");
    out << block_m_mode;
    begin_script(out);
    draw_panels(titles_of(blocks, write_steps(blocks, folder / "steps.txt"), layer),
                plots_of_columns(), out);
    script.close();
    const std::vector<std::string> names = {"measured_m_mode.png", "motion.png"};
    make_pictures(folder, "pictures.gp", names, results);
    return names;
}

}  // namespace examples
