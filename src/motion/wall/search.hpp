// Finds the artery and takes both walls out of the tissue on them, whichever pulse shows them best.
#pragma once

#include <optional>
#include <span>
#include <vector>

#include "echosieve/motion/wall_options.hpp"
#include "motion/courses/common_motion.hpp"
#include "motion/layers/joint_motion.hpp"
#include "motion/layers/layers.hpp"
#include "motion/line/line.hpp"
#include "motion/wall/finder.hpp"
#include "motion/wall/fit.hpp"

namespace echosieve {

// The tissue's pulse comes first, refined on tissue gates. Where the tissue hardly pulsates it is
// noise: so the most opposed guesses of pulse_candidates.hpp are scanned for walls too. Those that
// promise enough are taken apart in turn until there is confidence in both walls; the pair with
// most confidence stays. Evidence alone can't judge: it grows with how badly a pulse suits the
// tissue.

/// How walls are looked for, taken apart and judged.
struct WallPlan {
    WallFinderOptions finder{};
    WallSeparationOptions separation{};
    WallSearchOptions search{};
    WallMotionOptions motion{};
    WallConfidenceOptions confidence{};
};

void validate(const WallPlan& plan);

/// Gates all along the line with one layer each, fitted from the shares that `motion` has nearby.
[[nodiscard]] std::vector<LayeredGate> tissue_gates(const LineHistory& line,
                                                    const CommonMotion& motion,
                                                    const LayerTimes& times,
                                                    const WallSeparationOptions& options);

/// The tissue all along the line, and the common motion as its gates have it.
struct Tissue {
    LayerTimes times;
    std::vector<LayeredGate> gates;
    CommonMotion motion;
};

/// Its gates' shares in other time courses, and the common motion accordingly.
[[nodiscard]] Tissue with_pulse(Tissue tissue, LayerTimes times);

/// A guess of the pulse, the tissue fitted to it, and the walls that it shows.
struct Hypothesis {
    Tissue tissue;
    std::optional<WallPair> pair{};
    double promise = 0;  ///< the evidence at both walls, as scanned, times the opposition squared
    bool moved = false;  ///< by the search over cycles, when it was taken apart last
    bool lost = false;   ///< no walls then, or one that hardly shows
};

// The steps, each with what the one before gave. All throw InvalidInput for options outside their
// domain.

/// Refines a first estimate of the common motion on gates of tissue. Nothing if the line holds too
/// few of them.
[[nodiscard]] std::optional<Tissue> fit_tissue(const LineHistory& line, CommonMotion motion,
                                               const WallSeparationOptions& options);

/// The same of one or more lines over one artery, by the gates of all: nothing for a line that
/// holds too few. Their times are as each line sees them.
[[nodiscard]] std::vector<std::optional<Tissue>> fit_tissues(
    std::span<const LineHistory* const> lines, std::vector<CommonMotion> motions,
    const WallSeparationOptions& options);

/// The tissue's pulse first, then the others that are opposed enough, the most promising first;
/// none without tissue.
[[nodiscard]] std::vector<Hypothesis> find_hypotheses(const LineHistory& line,
                                                      const std::optional<Tissue>& tissue,
                                                      const WallPlan& plan);

/// Takes the hypotheses' walls apart from the tissue, until one is sure: the pair that is trusted
/// most. Nothing if none shows a pair, or if what looked like one is none once it is taken apart.
[[nodiscard]] std::optional<SeparatedWalls> separate_best(const LineHistory& line,
                                                          std::vector<Hypothesis> hypotheses,
                                                          const WallPlan& plan);

/// All three.
[[nodiscard]] std::optional<SeparatedWalls> find_and_separate_walls(const LineHistory& line,
                                                                    CommonMotion motion,
                                                                    const WallPlan& plan = {});

}  // namespace echosieve
