// What a layered line does beside two walls in tissue, each to be switched off: which effect costs
// what.
#pragma once

#include <string>
#include <vector>

#include "echosieve/synthesis/layered_scene.hpp"

namespace wall_study {

/// Names of the effects that can be switched off.
[[nodiscard]] std::vector<std::string> effect_names();

/// Switches off what is named, leaving all other numbers as they were drawn. Throws
/// std::out_of_range for names that there are none of.
void switch_off(const std::vector<std::string>& effects, echosieve::LayeredSceneOptions& options);

}  // namespace wall_study
