#include "effects.hpp"

#include <map>

namespace wall_study {
namespace {

using Options = echosieve::LayeredSceneOptions;

constexpr double no_level = -400;  // [dB]
constexpr double quiet = 60;       // signal over noise of a raw sample [dB]

const std::map<std::string, void (*)(Options&)>& effects() {
    static const std::map<std::string, void (*)(Options&)> all = {
        {"breathing", [](Options& o) { o.breathing = 0; }},
        {"decorrelation", [](Options& o) { o.decorrelation = 0; }},
        {"events", [](Options& o) { o.events = {}; }},
        {"far_course", [](Options& o) { o.far_delay = o.far_smoothing = 0; }},
        {"gain_wander", [](Options& o) { o.gain_wander = 0; }},
        {"interference", [](Options& o) { o.interference_decibels = no_level; }},
        {"noise", [](Options& o) { o.snr_decibels = quiet; }},
        {"off_axis", [](Options& o) { o.axis_offset = 0; }},
        {"plaque", [](Options& o) { o.plaque = 0; }},
        {"pulse_skew", [](Options& o) { o.pulse_skew = 0; }},
        {"reverberation", [](Options& o) { o.reverberation_decibels = no_level; }},
        {"ring_down", [](Options& o) { o.ring_down_decibels = no_level; }},
        {"strength_change", [](Options& o) { o.strength_change = 0; }},
        {"tissue", [](Options& o) { o.clutter_decibels = no_level; }},
        {"tissue_lag", [](Options& o) { o.tissue_lag = 0; }},
        {"transients",
         [](Options& o) {
             o.swallow_at.reset();
             o.cough_at.reset();
         }},
        {"vein", [](Options& o) { o.vein = false; }},
    };
    return all;
}

}  // namespace

std::vector<std::string> effect_names() {
    std::vector<std::string> names;
    for (const auto& [name, off] : effects()) {
        names.push_back(name);
    }
    return names;
}

void switch_off(const std::vector<std::string>& names, Options& options) {
    for (const std::string& name : names) {
        effects().at(name)(options);
    }
}

}  // namespace wall_study
