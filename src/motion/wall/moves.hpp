// What can be done to one wall's gate: the stages of its fit.
#pragma once

#include <span>

#include "echosieve/motion/wall_options.hpp"
#include "motion/layers/layers.hpp"
#include "motion/line/line.hpp"
#include "motion/wall/fit.hpp"
#include "motion/wall/stages.hpp"

namespace echosieve {

/// A wall whose fit is under way, and what only its stages know.
struct WallInWork {
    SeparatedWall& wall;
    double line_bulk = 1;  ///< b of the line where the wall was found
    ShareBounds bounds{};
    double anchor = 0;  ///< depth of its strongest echo when it was placed first [m]
};

/// Takes a wall's gate apart where the wall is thought to be, and says better where it is.
class WallMover {
public:
    WallMover(const LineHistory& line, const WallSeparationOptions& options)
        : line_(line), options_(options) {}

    /// The stages in turn, while all moves by `times`.
    void walk(std::span<const Stage> stages, WallInWork& work, const LayerTimes& times) const;

private:
    void make(const Stage& stage, WallInWork& work, const LayerTimes& times) const;
    void take_three_layers(SeparatedWall& wall, const LayerTimes& times) const;
    void polish(WallInWork& work, const LayerTimes& times) const;
    void drift(SeparatedWall& wall, const LayerTimes& times) const;
    void settle_ramp(SeparatedWall& wall, const LayerTimes& times) const;
    void take(const Stage& stage, WallInWork& work, const LayerTimes& times) const;
    void refer(WallInWork& work) const;
    void settle_cycle(SeparatedWall& wall, const LayerTimes& times) const;
    void settle_bulk(SeparatedWall& wall, const LayerTimes& times, double WallState::*bulk,
                     double step) const;

    [[nodiscard]] LikelihoodGrid grid_of(const Stage& stage, const ShareBounds& bounds) const;
    [[nodiscard]] WallModel model_of(const SeparatedWall& wall, const LayerTimes& times,
                                     const WallState& state, double largest_share) const;
    [[nodiscard]] double evidence_of(const SeparatedWall& wall, const WallState& state,
                                     const LayerTimes& times) const;

    const LineHistory& line_;
    const WallSeparationOptions& options_;
};

}  // namespace echosieve
