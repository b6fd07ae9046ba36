// Which frames of a block to use, if the sensor may have lost contact for most of it.
#pragma once

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <cstddef>
#include <vector>

#include "echosieve/condition/baseband.hpp"
#include "echosieve/condition/frame_check.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/motion/track_artery.hpp"
#include "motion/line/line.hpp"

namespace echosieve {

// Symbols
//   e_i  energy of frame i below the dead zone;  E its reference: the median over the good frames
//        of the last block with walls, or else over this block
//
// check_frames measures by the block's own medians, so more than half of it must hold echoes, and
// it counts the ring-down, which stays when contact is lost. Here frames with e_i * energy_range <
// E are lost, and only the others are checked. If fewer than fewest_frames would be left, the
// reference is taken for outdated (another gain, another place) and all frames are checked.

/// e_i of each frame; NaN for frames that are not finite.
template <Real R>
[[nodiscard]] std::vector<double> echo_energies(const Baseband<R>& baseband, double dead_zone) {
    const Eigen::Index columns = baseband.samples.cols();
    const Eigen::Index first = std::min(first_below(dead_zone, baseband.grid, baseband.settings),
                                        std::max<Eigen::Index>(columns - 1, 0));
    std::vector<double> energies;
    energies.reserve(static_cast<std::size_t>(baseband.samples.rows()));
    for (Eigen::Index i = 0; i < baseband.samples.rows(); ++i) {
        double sum = 0;
        for (Eigen::Index k = first; k < columns; ++k) {
            sum += std::norm(baseband.samples(i, k));
        }
        energies.push_back(sum);
    }
    return energies;
}

/// Median of the energies of the good frames; 0 if there are none.
[[nodiscard]] double reference_energy(const std::vector<double>& energies,
                                      const std::vector<FrameState>& states);

/// State of each frame of a block; frames out of contact are `dropped`. `reference` is E, 0 if
/// there is none yet. Throws as check_frames does.
template <class T, Real R>
[[nodiscard]] std::vector<FrameState> check_block(const FrameView<T>& frames,
                                                  const Baseband<R>& baseband,
                                                  const std::vector<double>& energies,
                                                  double reference,
                                                  const FrameCheckOptions& options = {}) {
    const std::size_t count = frames.frames();
    require(energies.size() == count, "number of energies", energies.size(),
            detail::concatenate("must equal the frames, ", count));
    if (!(reference > 0)) {
        reference = reference_energy(energies, std::vector<FrameState>(count, FrameState::good));
    }
    std::vector<std::size_t> kept;
    for (std::size_t i = 0; i < count; ++i) {
        if (!(energies[i] * options.energy_range < reference)) {
            kept.push_back(i);
        }
    }
    if (kept.size() == count || kept.size() < fewest_frames) {
        return check_frames(frames, baseband, options);
    }
    FrameMatrix<T> in_contact(kept.size(), frames.samples());
    Baseband<R> converted{{}, baseband.grid, baseband.settings};
    converted.samples.resize(static_cast<Eigen::Index>(kept.size()), baseband.samples.cols());
    for (std::size_t n = 0; n < kept.size(); ++n) {
        std::ranges::copy(frames[kept[n]], in_contact[n].begin());
        converted.samples.row(static_cast<Eigen::Index>(n)) =
            baseband.samples.row(static_cast<Eigen::Index>(kept[n]));
    }
    const std::vector<FrameState> checked = check_frames(in_contact.view(), converted, options);
    std::vector<FrameState> states(count, FrameState::dropped);
    for (std::size_t n = 0; n < kept.size(); ++n) {
        states[kept[n]] = checked[n];
    }
    return states;
}

}  // namespace echosieve
