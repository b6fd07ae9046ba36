#include "support/wall_words.hpp"

#include <algorithm>
#include <cmath>

#include "support/text.hpp"

namespace examples {
namespace {

using echosieve::ArteryMotion;
using echosieve::WallReport;

// Limits of what is remarkable; from runs on drawn recordings, no source.
constexpr double doubtful = 0.8;          // confidence below it is said
constexpr double unsure_gain = 0.2;       // standard deviation of the gain
constexpr double least_part = 0.15;       // of the distension: a wall usually takes 0.25 to 0.75
constexpr double much_own_motion = 0.1;   // rms of what a wall does by itself, over its pulse
constexpr double clear_difference = 0.1;  // of confidences
constexpr double clear_ratio = 1.5;       // of deviations

// Of the diameter's pulse, the part that this wall takes: with the signs as they are, for the near
// wall as for the far one. 0.5 where there is no pulse.
double part_of_distension(const WallReport& wall, const WallReport& partner) {
    const double apart = wall.pulse_share - partner.pulse_share;
    return apart != 0 ? wall.pulse_share / apart : 0.5;
}

}  // namespace

std::string_view layer_words(echosieve::WallLayer layer) noexcept {
    return layer == echosieve::WallLayer::inner ? "inner layer" : "outer layer";
}

std::string limit_words(echosieve::WallLimit limit) {
    return "limit: " + std::string(describe(limit));
}

std::string_view diameter_words(echosieve::WallLayer layer) noexcept {
    return layer == echosieve::WallLayer::inner ? "inner layer to inner layer: the lumen"
                                                : "outer layer to outer layer";
}

double whole_deviation(const WallReport& wall) {
    return std::hypot(wall.noise_std, wall.gain_std * std::abs(wall.pulse_share), wall.model_std);
}

std::vector<std::string> doubts_of(const WallReport& wall, const WallReport& partner) {
    std::vector<std::string> doubts;
    if (wall.confidence < doubtful) {
        doubts.push_back(text_of("it may not be the wall, or have lost a cycle (confidence %.2f)",
                                 wall.confidence));
    }
    if (wall.separability < echosieve::least_separability) {
        doubts.push_back(
            text_of("it hardly moves against the tissue on it: not separable (%.2f "
                    "rad)",
                    wall.separability));
    }
    const double part = part_of_distension(wall, partner);
    if (part < least_part) {
        doubts.push_back(text_of("it takes only %.0f %% of the distension", 100 * part));
    }
    if (wall.gain_std > unsure_gain) {
        doubts.push_back(text_of("its gain is known to %.0f %% only", 100 * wall.gain_std));
    }
    if (wall.own_motion > much_own_motion * std::abs(wall.pulse_share)) {
        doubts.push_back(
            text_of("it moves unlike its partner: %.0f um rms by itself", 1e6 * wall.own_motion));
    }
    return doubts;
}

LessSure less_sure_wall(const ArteryMotion& motion) {
    const WallReport& near = motion.near;
    const WallReport& far = motion.far;
    const std::size_t of_near = doubts_of(near, far).size();
    const std::size_t of_far = doubts_of(far, near).size();
    if (motion.frames.empty() || of_near + of_far == 0) {
        return LessSure::neither;
    }
    const auto lesser = [](bool is_near) { return is_near ? LessSure::near : LessSure::far; };
    if (of_near == 0 || of_far == 0) {
        return lesser(of_near > 0);
    }
    if (std::abs(near.confidence - far.confidence) > clear_difference) {
        return lesser(near.confidence < far.confidence);
    }
    const bool near_separable = near.separability >= echosieve::least_separability;
    if (near_separable != (far.separability >= echosieve::least_separability)) {
        return lesser(!near_separable);
    }
    const double of_both[] = {whole_deviation(near), whole_deviation(far)};
    const bool clear =
        std::max(of_both[0], of_both[1]) > clear_ratio * std::min(of_both[0], of_both[1]);
    return clear ? lesser(of_both[0] > of_both[1]) : LessSure::neither;
}

std::string less_sure_words(const ArteryMotion& motion) {
    const LessSure lesser = less_sure_wall(motion);
    if (lesser == LessSure::neither) {
        return {};
    }
    const bool is_near = lesser == LessSure::near;
    const WallReport& wall = is_near ? motion.near : motion.far;
    std::string words = text_of("The %s wall is the less sure one", is_near ? "near" : "far");
    const char* between = ": ";
    for (const std::string& doubt : doubts_of(wall, is_near ? motion.far : motion.near)) {
        words += between + doubt;
        between = "; ";
    }
    return words + ".";
}

}  // namespace examples
