// The kinds of events of random recordings, as they are called on a command line.
#pragma once

#include <map>
#include <string>

#include "echosieve/synthesis/random_scene.hpp"

namespace examples {

inline const std::map<std::string, echosieve::EventKind>& event_kinds() {
    using enum echosieve::EventKind;
    static const std::map<std::string, echosieve::EventKind> kinds = {
        {"contact-loss", contact_loss},
        {"near-strength", near_strength},
        {"far-strength", far_strength},
        {"far-wall-lag", far_wall_lag},
        {"tissue-lag", tissue_lag},
        {"reverberation", reverberation},
        {"trigger-jitter", trigger_jitter},
        {"sensor-step", sensor_step},
        {"clipping", clipping},
        {"ectopic-beats", ectopic_beats}};
    return kinds;
}

}  // namespace examples
