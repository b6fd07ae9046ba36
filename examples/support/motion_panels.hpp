// The panels of motion.png: near wall, far wall, diameter and quality, one over the other.
#pragma once

#include <ostream>
#include <string>

namespace examples {

/// What is written over the panels; an empty text is left out.
struct PanelTitles {
    std::string picture;
    std::string remark;  ///< under the picture's title: two lines at most
    std::string near;
    std::string far;
    std::string diameter;
};

/// What gnuplot draws in each panel: the part of a `plot` command after the marks of low quality.
struct PanelPlots {
    std::string near;
    std::string far;
    std::string diameter;
    std::string quality;
    /// marks of low quality in every panel: column of motion.txt that is 1 there and 0 elsewhere
    int low_column = 0;
};

/// Writes the commands that draw motion.png from motion.txt, whose first column is the time.
void draw_panels(const PanelTitles& titles, const PanelPlots& plots, std::ostream& script);

}  // namespace examples
