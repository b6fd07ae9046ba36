// What is said of several lines over one artery: in summary.json, and in lines for the user.
#pragma once

#include <cstddef>
#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <vector>

#include "echosieve/core/recorded_lines.hpp"
#include "echosieve/motion/track_lines.hpp"

namespace examples {

/// Deviations within which 95 of 100 normal errors lie.
inline constexpr double usual_deviations = 1.96;

/// Number of the line, from 0, that the pictures show: of the largest weight, or, where no line was
/// followed, of the pair of walls that came closest.
[[nodiscard]] std::size_t shown_line(const echosieve::LinesMotion& motion);

/// ", line 2 of 3", for titles; nothing of a single line.
[[nodiscard]] std::string of_lines(std::size_t line, const echosieve::LinesMotion& motion);

/// motion_line_K.csv of line K - 1.
[[nodiscard]] std::string line_file(std::size_t line);

/// How fast the pulse runs along the lines [m/s], negative from the last to the first, and the
/// limits between which it lies in 95 of 100.
struct PulseWaveSpeed {
    double value = 0;
    double least = 0;
    double most = 0;
};

/// None unless the delay over distance is told from zero.
[[nodiscard]] std::optional<PulseWaveSpeed> pulse_wave_speed(
    const echosieve::LinesPlacement& placement);
/// What is known of it, without a full stop.
[[nodiscard]] std::string speed_in_words(const echosieve::LinesPlacement& placement);

/// Why a line is not part of the artery's motion, as part of a sentence; empty if it is.
[[nodiscard]] std::string left_out_words(const echosieve::LineMotion& line);

/// Fields `lines` and `placement`.
[[nodiscard]] nlohmann::ordered_json lines_json(const echosieve::LinesMotion& motion,
                                                const echosieve::RecordedLines& recorded);

/// Of the lines, their doubts, and where they lie on the vessel.
[[nodiscard]] std::string remarks_on(const echosieve::LinesMotion& motion);

/// The lines' warnings, each once; those that not all lines have name the lines.
[[nodiscard]] std::vector<std::string> warnings_of(const echosieve::LinesMotion& motion);

}  // namespace examples
