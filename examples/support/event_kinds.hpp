// The kinds of lines and events of random recordings, as they are called on a command line.
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

inline const std::map<std::string, echosieve::LineKind>& line_kinds() {
    using enum echosieve::LineKind;
    static const std::map<std::string, echosieve::LineKind> kinds = {
        {"artery", artery},      {"breathing", breathing_tissue}, {"pulsating", pulsating_tissue},
        {"still", still_tissue}, {"beside", artery_beside},       {"vein", vein}};
    return kinds;
}

}  // namespace examples
