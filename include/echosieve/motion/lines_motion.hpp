// What following an artery in several lines at once is asked for and gives back. Link
// echosieve::motion.
#pragma once

#include <cstddef>
#include <optional>
#include <vector>

#include "echosieve/motion/artery_motion.hpp"
#include "echosieve/motion/track_options.hpp"

namespace echosieve {

// Symbols
//   p(t), q(t)   pulse and bulk motion, the same for all lines;  d_l  delay of the pulse at line l
//   u_l(t) = a_l p(t - d_l) + b_l q(t) + own_l(t)     a wall of line l
//   s_l          standard deviation of its displacement;  w_l = 1 / s_l^2, both walls together
//   y_l, x_l     line's position along the vessel, its offset across it [m]
//
// Noise of p and q falls as one over the square root of the lines; an error of gain is each line's
// own, and falls so in the mean over the lines alone: sum w_l u_l / sum w_l, its deviation that of
// independent errors, of gain and model, at least sqrt(1 / sum w_l).
//
// A vessel of diameter D whose axis is under x_0: a line at x sees the chord
//   C^2 = D^2 - 4 (x - x_0)^2,   so (C / 2)^2 + x^2 is linear in x.

struct LinesOptions {
    TrackOptions track = {};
    /// of a wall along the vessel, depth over distance: where the other lines' walls are looked for
    double largest_tilt = 0.2;
    /// of a wall's depth from line to line, where their positions are not known, and beside the
    /// tilt [m]
    double depth_reach = 1e-3;
    double unknown_reach = 2.5e-3;  ///< the same where positions are not known [m]
    /// lines in which the whole search is made, the most promising first, until one is sure
    std::size_t most_searches = 4;
    std::size_t threads = 1;  ///< the same bits on any number of them
};

/// A number and its standard deviation.
struct Estimate {
    double value = 0;
    double deviation = 0;
};

/// One line of several.
struct LineMotion {
    ArteryMotion motion;  ///< its status no_artery where its walls are not seen
    /// by which its pulse is later than the mean of the lines [s]; none without walls
    std::optional<Estimate> delay;
    double weight = 0;  ///< w_l over the sum of all: its part in the artery's motion
};

/// Where a row of lines lies on the vessel.
struct LinesPlacement {
    std::optional<Estimate> near_tilt;  ///< depth of the near wall over y; two lines at least
    std::optional<Estimate> far_tilt;   ///< of the far wall
    std::optional<Estimate>
        delay_per_metre;               ///< of the pulse along y: its speed is one over it [s/m]
    std::optional<Estimate> axis;      ///< x_0; three lines with offsets at least [m]
    std::optional<Estimate> diameter;  ///< D: of the vessel, not of a chord [m]
};

struct LinesMotion {
    TrackStatus status = TrackStatus::not_run;
    std::vector<LineMotion> lines;
    /// of the artery: the lines' weighted mean, valid where lines of half of the weight are
    std::vector<FrameMotion> frames;
    LinesPlacement placement;

    [[nodiscard]] bool usable() const noexcept { return status == TrackStatus::tracked; }
    /// Lines whose walls are seen.
    [[nodiscard]] std::size_t followed() const noexcept {
        std::size_t count = 0;
        for (const LineMotion& line : lines) {
            count += line.weight > 0 ? 1 : 0;
        }
        return count;
    }
};

}  // namespace echosieve
