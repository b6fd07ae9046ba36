// The same artery in several lines at once: one pulse and one bulk motion for all, each line's
// walls, and how late the pulse is there. Link echosieve::motion.
#pragma once

#include "echosieve/core/detail/api.hpp"
#include "echosieve/core/recorded_lines.hpp"
#include "echosieve/motion/lines_motion.hpp"

namespace echosieve {

// Each line is conditioned, checked and averaged by itself; pulse and bulk motion come from the
// tracks and gates of all; the artery is searched for in one line, and in the others near it; walls
// and courses are then fitted in turn, and each line is followed in all its frames
// (docs/following_walls.md). Research use: not a medical device, not for diagnosis.

/// Throws InvalidInput, naming option, value and limit.
ECHOSIEVE_API void validate(const LinesOptions& options);

/// Finds the artery in the lines and follows its walls in each. A line is tracked as track_artery
/// does it, but for the time courses; one line alone is what track_artery gives. Throws
/// InvalidInput as that does, and for lines that have not one clock (recorded_lines.hpp).
[[nodiscard]] ECHOSIEVE_API LinesMotion track_lines(const RecordedLines& recorded,
                                                    const LinesOptions& options = {});

}  // namespace echosieve
