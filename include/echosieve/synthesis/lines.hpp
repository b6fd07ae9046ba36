// Several lines over one artery: a drawn scene as the elements of a sensor along the vessel see it.
#pragma once

#include <cstddef>
#include <utility>
#include <vector>

#include "echosieve/core/error.hpp"
#include "echosieve/core/recorded_lines.hpp"
#include "echosieve/synthesis/detail/scene_checks.hpp"
#include "echosieve/synthesis/random_scene.hpp"
#include "echosieve/synthesis/render.hpp"

namespace echosieve {

// Symbols
//   y_k = k spacing            position of line k along the vessel, the first one's is 0
//   z_k = z_0 + tilt y_k       depth of the axis beneath it
//   t_k = y_k / velocity       delay of the pulse there
// Lines have in common what moves: the beats, breathing, swallow and cough, the sensor's step, the
// tone that their receivers hear, and all options. Each has of its own what it shows: scatterers
// and facets, layers with their phases and rhythms, the receiver's gain and noise, and which of its
// frames are dropped, come late or clip.
//
// What this simplifies: echoes of neighbours are independent of each other, as those of elements
// further apart than their resolution along the vessel are. Lines closer than that share echoes,
// and then N of them know less than N independent ones. All lines see the artery under the same
// offset, and a VolumeScene's own tilt, beneath one sensor's face, stays what it is.

/// Where lines lie.
struct LinesPlan {
    std::size_t count = 1;    ///< up to most_lines
    double spacing = 0.5e-3;  ///< between neighbours [m]
    double tilt = 0;          ///< depth of the axis over distance along the vessel
    /// from the first line to the last; infinite: all at once. 4 to 10 in carotids (from memory)
    /// [m/s]
    double pulse_wave_velocity = 6;

    /// Of line k along the vessel [m].
    [[nodiscard]] double position(std::size_t k) const noexcept {
        return static_cast<double>(k) * spacing;
    }
};

namespace detail {

inline constexpr double steepest_lines = 0.3;  // as an axis beneath one face may slope

}  // namespace detail

/// Throws InvalidInput, naming option, value and limit. Whether walls then lie within the recorded
/// depths, the scene's own validate says.
inline void validate(const LinesPlan& plan) {
    require(plan.count > 0 && plan.count <= most_lines, "number of lines", plan.count,
            detail::concatenate("must lie in [1, ", most_lines, "]"));
    detail::require_positive(plan.spacing, "spacing", "[m]");
    const double last = plan.position(plan.count - 1);
    require(last <= detail::furthest_line, "spacing", plan.spacing,
            detail::concatenate("puts the last line at ", last, ", must not exceed ",
                                detail::furthest_line, " [m]"));
    detail::require_within(plan.tilt, -detail::steepest_lines, detail::steepest_lines, "tilt", "");
    require(plan.pulse_wave_velocity > 0, "pulse_wave_velocity", plan.pulse_wave_velocity,
            "must be positive [m/s]");
}

/// The scenes that the plan's lines see of a drawn one; the first is the drawn one itself. Throws
/// InvalidInput for a plan outside its domain, and for lines whose walls the recorded depths don't
/// hold.
template <RenderableScene S>
[[nodiscard]] std::vector<DrawnScene<S>> lines_of(const DrawnScene<S>& drawn,
                                                  const LinesPlan& plan) {
    validate(plan);
    std::vector<DrawnScene<S>> lines(plan.count, drawn);
    for (std::size_t k = 0; k < plan.count; ++k) {
        typename S::Options& options = lines[k].options;
        const double deeper = plan.tilt * plan.position(k);
        options.line = k;
        options.line_delay = plan.position(k) / plan.pulse_wave_velocity;
        options.centre_depth += deeper;
        if constexpr (requires { options.vein_depth; }) {  // beside the artery all along
            options.vein_depth += deeper;
            options.reverberation_at += 2 * deeper;
        }
        validate(options);
    }
    return lines;
}

/// Lines over one artery, with what is true of each.
struct SyntheticLines {
    RecordedLines recorded;
    std::vector<Truth> truths;
};

/// The recordings of the plan's lines of a drawn scene, T as in `render`. Throws as lines_of does.
template <class T, RenderableScene S>
[[nodiscard]] SyntheticLines render_lines(const DrawnScene<S>& drawn, const LinesPlan& plan) {
    SyntheticLines out;
    for (const DrawnScene<S>& line : lines_of(drawn, plan)) {
        SyntheticRecording made = render_drawn<T>(line);
        out.recorded.positions.push_back(plan.position(out.recorded.lines.size()));
        out.recorded.lines.push_back(std::move(made.recording));
        out.truths.push_back(std::move(made.truth));
    }
    return out;
}

}  // namespace echosieve
