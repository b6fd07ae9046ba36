// What the methods are compared on: recordings with known truth, one property swept at a time.
#pragma once

#include <cstdint>
#include <functional>
#include <string>
#include <vector>

#include "echosieve/synthesis/render.hpp"

namespace compare_methods {

/// Makes a recording from a seed.
using Maker = std::function<echosieve::SyntheticRecording(std::uint64_t seed)>;

/// One setting: a row of the table, and one place on the picture's axis.
struct Case {
    double value = 0;     // on the axis
    std::string setting;  // as the table names it
    std::string same_as;  // cases of one name and seed are one recording
    Maker make;
};

struct Sweep {
    std::string title;
    std::string axis;     // with unit
    std::string picture;  // file name; empty: table only
    std::vector<Case> cases;
};

/// All sweeps. A further source of recordings is a further Sweep: a Maker for each of its rows.
std::vector<Sweep> all_sweeps();

}  // namespace compare_methods
