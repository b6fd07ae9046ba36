// What of a recording's settings its own samples may contradict, and by how much: the options and
// the outcome, apart from what computes.
#pragma once

#include <cstddef>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "echosieve/core/error.hpp"

namespace echosieve {

// What is contradicted lowers the trust in all that is computed with the settings; what is only
// unusual is said, and lowers nothing. A quantity that the samples don't show surely enough (no
// band above the noise, too few samples) contradicts nothing.
//
// The limits stand clear of what the two simulators draw (seeds 1 to 120 of both and tissue without
// an artery, 306 recordings, each event with a chance of 0.1): the echoes' centre lies at 0.92 to
// 1.02 of the sensor's, since tissue takes more from high frequencies than from low ones, their
// bandwidth at 0.39 to 1.5 of its.

struct SettingsCheckOptions {
    double lowest_centre = 0.8;    ///< of the echoes, over the settings'
    double highest_centre = 1.15;  ///< nothing makes echoes of a higher frequency than was sent
    double narrowest = 0.25;       ///< bandwidth of the echoes, over the settings'
    double widest = 2;
    double deviations = 5;            ///< by which an estimate must miss the settings' value
    double largest_repetition = 0.1;  ///< part of the frames that are the frame before once more
    double least_counts =
        4;  ///< rms of whole numbers: below it their rounding is as strong as noise
    double least_likeness =
        4;  ///< how much less samples change than frames, for a transposed array
    double contradicted = 0.2;    ///< factor of the trust for each setting that is contradicted
    std::size_t max_frames = 16;  ///< looked at for the spectrum, evenly spread
};

inline void validate(const SettingsCheckOptions& options) {
    const auto within = [](double x, double low, double high, std::string_view name) {
        require(x >= low && x <= high, name, x,
                detail::concatenate("must lie in [", low, ", ", high, "]"));
    };
    within(options.lowest_centre, 0, 1, "lowest_centre");
    within(options.highest_centre, 1, 1e3, "highest_centre");
    within(options.narrowest, 0, 1, "narrowest");
    within(options.widest, 1, 1e3, "widest");
    within(options.deviations, 0, 1e3, "deviations");
    within(options.largest_repetition, 0, 1, "largest_repetition");
    within(options.least_counts, 0, 1e6, "least_counts");
    within(options.least_likeness, 1, 1e6, "least_likeness");
    within(options.contradicted, 0, 1, "contradicted");
    require(options.max_frames >= 1, "max_frames", options.max_frames, "must be at least 1");
}

/// What was found: a sentence each, and by which factor qualities are lowered for it.
struct SettingsCheck {
    std::vector<std::string> warnings;
    double trust = 1;       ///< 1 if nothing is contradicted
    bool band_seen = true;  ///< false: no band of echoes stands out of the noise

    void add(std::string warning, double factor) {
        warnings.push_back(std::move(warning));
        trust *= factor;
    }
};

}  // namespace echosieve
