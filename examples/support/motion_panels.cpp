#include "support/motion_panels.hpp"

#include "support/picture_parts.hpp"

namespace examples {
namespace {

constexpr std::size_t remark_width = 165;  // characters across the picture
constexpr const char* panels_start = R"(
set output 'motion.png'
set terminal pngcairo size 1500,1200 font font background rgb 'white'
unset title
unset xlabel
unset key
set lmargin at screen 0.085
set rmargin at screen 0.985
set y2range [0:1]
set style fill solid 0.45 noborder
set label 2 picture_title at screen 0.5, screen 0.98 center font 'DejaVu Sans,18' noenhanced
set label 3 remark at screen 0.5, screen 0.955 center font 'DejaVu Sans,12' textcolor rgb '#a03020' noenhanced
set multiplot
band = "with filledcurves fillcolor rgb"
line = "with lines linewidth 1.5 linecolor rgb"
)";

// Edges of a panel, from the picture's bottom.
struct PanelPlace {
    double top;
    double bottom;
};

// A panel with its title on the left.
void draw_panel(std::ostream& script, PanelPlace place, const std::string& title,
                const std::string& label, const std::string& plot) {
    set_text(script, "panel_title", title);
    set_text(script, "panel_label", label);
    script
        << "set tmargin at screen " << place.top << "\nset bmargin at screen " << place.bottom
        << "\nset label 4 panel_title at graph 0, graph 1 left offset 0, 0.6 font 'DejaVu Sans,13' "
           "noenhanced\nset ylabel panel_label\nplot "
        << plot << "\nunset label 1\nunset label 2\nunset label 3\n";
}

}  // namespace

void draw_panels(const PanelTitles& titles, const PanelPlots& plots, std::ostream& script) {
    set_text(script, "picture_title", titles.picture);
    set_text(script, "remark", wrapped(titles.remark, remark_width));
    script << panels_start;
    const std::string low = "'motion.txt' using 1:" + std::to_string(plots.low_column) +
                            " axes x1y2 with fillsteps fillstyle solid 1 noborder fillcolor rgb "
                            "low_colour, ";
    const std::string depth_label = "Deeper is down [µm]";
    script << "set yrange [*:*] noextend reverse\n";
    draw_panel(script, {0.885, 0.705}, titles.near, depth_label, low + plots.near);
    draw_panel(script, {0.645, 0.465}, titles.far, depth_label, low + plots.far);
    script << "set yrange [*:*] noextend noreverse\n";
    draw_panel(script, {0.405, 0.225}, titles.diameter, "Diameter [mm]", low + plots.diameter);
    script << "set yrange [0:1.1]\nset ytics 0.5\nset xlabel 'Time [s]'\n";
    draw_panel(script, {0.165, 0.085}, "Quality of a frame; shaded everywhere: below 0.5",
               "Quality", low + plots.quality);
    script << "unset multiplot\nset output\n";
}

}  // namespace examples
