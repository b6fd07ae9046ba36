// What is said of a diameter and of its walls, in words.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "echosieve/motion/artery_motion.hpp"
#include "echosieve/motion/wall_options.hpp"

namespace examples {

[[nodiscard]] std::string_view layer_words(echosieve::WallLayer layer) noexcept;

/// What limits a wall's displacement, as part of a sentence.
[[nodiscard]] std::string limit_words(echosieve::WallLimit limit);

/// From which layer to which the diameter goes.
[[nodiscard]] std::string_view diameter_words(echosieve::WallLayer layer) noexcept;

/// Why a wall may not be what it is taken for, most serious first; empty: nothing speaks against
/// it. `partner` is the other wall.
[[nodiscard]] std::vector<std::string> doubts_of(const echosieve::WallReport& wall,
                                                 const echosieve::WallReport& partner);

/// Standard deviation of a wall's displacement where the pulse is at its largest: noise, gain and
/// what the model leaves out [m].
[[nodiscard]] double whole_deviation(const echosieve::WallReport& wall);

enum class LessSure { neither, near, far };

/// The wall that is the likelier one to be wrong, if there is a doubt about one: that of clearly
/// less confidence, else the one that can't be told from its tissue, else that of the larger
/// deviation, clearly; otherwise neither.
[[nodiscard]] LessSure less_sure_wall(const echosieve::ArteryMotion& motion);

/// A sentence that names that wall and says why; empty if there is none.
[[nodiscard]] std::string less_sure_words(const echosieve::ArteryMotion& motion);

}  // namespace examples
