// A separated wall as a few Gabor echoes that all frames share.
#pragma once

#include <cstddef>
#include <span>
#include <vector>

#include "echosieve/atoms/gabor.hpp"
#include "echosieve/core/detail/api.hpp"
#include "echosieve/core/detail/domain.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/grid.hpp"
#include "echosieve/core/recording.hpp"

namespace echosieve {

// The wall's spectrum at rest is free: any waveform. Orthogonal pursuit takes it apart
// into a few Gabor echoes; a frame's echoes are the same ones, later by the frame's displacement
// and as strong as the wall is in that frame.

/// A wall's gate holds no more independent echoes.
inline constexpr std::size_t most_wall_echoes = 1000;

struct WallEchoOptions {
    std::size_t atoms = 4;       ///< echoes a wall, at most
    double spread = 0.10;        ///< of centre frequency and bandwidth about the sensor's
    double least_energy = 1e-3;  ///< pursuit ends at this part of the waveform's energy
};

inline void validate(const WallEchoOptions& options) {
    require(options.atoms >= 1, "atoms", options.atoms, "must be at least 1");
    require(options.spread >= 0 && options.spread < 1, "spread", options.spread,
            "must lie in [0, 1)");
    require(options.least_energy >= 0 && options.least_energy < 1, "least_energy",
            options.least_energy, "must lie in [0, 1)");
    detail::require_at_most(options.atoms, most_wall_echoes, "atoms");
}

/// Echoes of a wall at rest as they are in a frame: moved by `displacement` [m] and multiplied by
/// `strength`.
[[nodiscard]] ECHOSIEVE_API std::vector<Echo<Gabor<double>>> moved_echoes(
    const std::vector<Echo<Gabor<double>>>& echoes, double displacement, double strength,
    const RecordingSettings& settings);

/// Adds the echoes so moved to a frame of real samples on `grid`, each to within 2e-7 of its peak.
/// Throws InvalidInput unless row.size() == grid.count and the grid has no mixing frequency.
/// Allocates nothing.
ECHOSIEVE_API void add_moved_echoes(const std::vector<Echo<Gabor<double>>>& echoes,
                                    double displacement, double strength,
                                    const RecordingSettings& settings, const SamplingGrid& grid,
                                    std::span<float> row);

}  // namespace echosieve
