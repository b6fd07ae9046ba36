#include "support/lines_report.hpp"

#include <algorithm>
#include <cmath>
#include <utility>

#include "support/motion_report.hpp"
#include "support/text.hpp"

namespace examples {
namespace {

using echosieve::Estimate;
using echosieve::LineMotion;
using echosieve::LinesMotion;
using echosieve::LinesPlacement;
using nlohmann::ordered_json;

// NAME and its deviation, null where they are not known.
struct EstimateNames {
    const char* value;
    const char* deviation;
};

void add_estimate(const std::optional<Estimate>& estimate, EstimateNames names,
                  ordered_json& json) {
    json[names.value] = estimate ? ordered_json(estimate->value) : ordered_json();
    json[names.deviation] = estimate ? ordered_json(estimate->deviation) : ordered_json();
}

void add_place(const std::vector<double>& places, std::size_t line, const char* name,
               ordered_json& json) {
    json[name] = places.empty() ? ordered_json() : ordered_json(places[line]);
}

ordered_json line_json(const LinesMotion& motion, std::size_t k,
                       const echosieve::RecordedLines& recorded) {
    const LineMotion& line = motion.lines[k];
    ordered_json json;
    json["line"] = k + 1;
    json["status"] = describe(line.motion.status);
    json["weight"] = line.weight;
    const std::string left_out = left_out_words(line);
    json["left_out"] = left_out.empty() ? ordered_json() : ordered_json(left_out);
    json["motion"] = line.weight > 0 ? ordered_json(line_file(k)) : ordered_json();
    add_place(recorded.positions, k, "position_m", json);
    add_place(recorded.offsets, k, "offset_m", json);
    add_estimate(line.delay, {"delay_s", "delay_std_s"}, json);
    json["valid_frames"] = line.motion.valid_frames();
    json.update(flaws_json(line.motion));
    json["trust"] = line.motion.trust;
    if (!line.motion.frames.empty()) {
        json.update(walls_json(line.motion));
    }
    return json;
}

ordered_json placement_json(const LinesPlacement& placement) {
    ordered_json json;
    add_estimate(placement.near_tilt, {"near_tilt", "near_tilt_std"}, json);
    add_estimate(placement.far_tilt, {"far_tilt", "far_tilt_std"}, json);
    add_estimate(placement.delay_per_metre,
                 {"pulse_delay_per_metre_s", "pulse_delay_per_metre_std_s"}, json);
    const std::optional<PulseWaveSpeed> speed = pulse_wave_speed(placement);
    json["local_pulse_wave_speed_m_s"] = speed ? ordered_json(speed->value) : ordered_json();
    json["local_pulse_wave_speed_range_m_s"] =
        speed ? ordered_json({speed->least, speed->most}) : ordered_json();
    add_estimate(placement.axis, {"axis_offset_m", "axis_offset_std_m"}, json);
    add_estimate(placement.diameter, {"diameter_of_vessel_m", "diameter_of_vessel_std_m"}, json);
    return json;
}

std::string line_in_words(const LinesMotion& motion, std::size_t k) {
    const LineMotion& line = motion.lines[k];
    const std::string left_out = left_out_words(line);
    if (!left_out.empty()) {
        return text_of("Line %zu%s: %s.\n", k + 1, motion.frames.empty() ? "" : " is left out",
                       left_out.c_str());
    }
    std::string text =
        text_of("Line %zu: near wall at %.2f mm, far wall at %.2f mm, weight %.2f", k + 1,
                1e3 * line.motion.near.depth, 1e3 * line.motion.far.depth, line.weight);
    if (line.delay) {
        text += text_of("; its pulse is %.2f ms %s than the mean, standard deviation %.2f ms",
                        1e3 * std::abs(line.delay->value),
                        line.delay->value < 0 ? "earlier" : "later", 1e3 * line.delay->deviation);
    }
    return text + ".\n" + doubts_in_words(line.motion, text_of(" of line %zu", k + 1));
}

std::string tilt_in_words(const Estimate& tilt, const char* wall) {
    return text_of(
        "Along the lines the %s wall lies %.3f mm %s a millimetre, standard deviation %.3f.\n",
        wall, std::abs(tilt.value), tilt.value < 0 ? "shallower" : "deeper", tilt.deviation);
}

std::string placement_in_words(const LinesPlacement& placement) {
    std::string text;
    if (placement.near_tilt) {
        text += tilt_in_words(*placement.near_tilt, "near");
    }
    if (placement.far_tilt) {
        text += tilt_in_words(*placement.far_tilt, "far");
    }
    if (placement.delay_per_metre) {
        text += speed_in_words(placement) + ".\n";
    }
    if (placement.axis && placement.diameter) {
        text += text_of(
            "The vessel's axis lies at an offset of %.2f mm, its diameter is %.2f mm (standard "
            "deviations %.2f and %.2f mm).\n",
            1e3 * placement.axis->value, 1e3 * placement.diameter->value,
            1e3 * placement.axis->deviation, 1e3 * placement.diameter->deviation);
    }
    return text;
}

// Two walls that came closest to being trusted.
double promise(const LineMotion& line) {
    return std::min(line.motion.near.confidence, line.motion.far.confidence);
}

}  // namespace

std::size_t shown_line(const LinesMotion& motion) {
    const auto less = [](const LineMotion& a, const LineMotion& b) {
        return std::pair(a.weight, promise(a)) < std::pair(b.weight, promise(b));
    };
    const auto best = std::max_element(motion.lines.begin(), motion.lines.end(), less);
    return static_cast<std::size_t>(best - motion.lines.begin());
}

std::string of_lines(std::size_t line, const LinesMotion& motion) {
    return motion.lines.size() > 1 ? text_of(", line %zu of %zu", line + 1, motion.lines.size())
                                   : "";
}

std::string line_file(std::size_t line) {
    return text_of("motion_line_%zu.csv", line + 1);
}

std::optional<PulseWaveSpeed> pulse_wave_speed(const LinesPlacement& placement) {
    if (!placement.delay_per_metre) {
        return std::nullopt;
    }
    const Estimate& slowness = *placement.delay_per_metre;
    const double reach = usual_deviations * slowness.deviation;
    if (!(std::abs(slowness.value) > reach)) {
        return std::nullopt;
    }
    return PulseWaveSpeed{1 / slowness.value, 1 / (slowness.value + reach),
                          1 / (slowness.value - reach)};
}

std::string speed_in_words(const LinesPlacement& placement) {
    if (!placement.delay_per_metre) {
        return "The pulse's delay over distance is not known";
    }
    const Estimate& slowness = *placement.delay_per_metre;  // [s/m], which is [ms/mm]
    std::string text = text_of(
        "The pulse's delay over distance is %.3f ms/mm, standard deviation %.3f: ", slowness.value,
        slowness.deviation);
    if (const std::optional<PulseWaveSpeed> speed = pulse_wave_speed(placement)) {
        return text + text_of("local pulse wave speed %.2f m/s, in 95 of 100 %.2f to %.2f m/s",
                              speed->value, speed->least, speed->most);
    }
    return text + "not told from none, so that the pulse wave speed is not known";
}

std::string left_out_words(const LineMotion& line) {
    if (line.weight > 0) {
        return {};
    }
    if (line.motion.frames.empty()) {
        return std::string(describe(line.motion.status));
    }
    return line.motion.valid_frames() == 0 ? "none of its frames is valid"
                                           : "the pulse widens what it shows unlike the artery";
}

ordered_json lines_json(const LinesMotion& motion, const echosieve::RecordedLines& recorded) {
    ordered_json json = {{"lines_followed", motion.followed()},
                         {"picture_line", shown_line(motion) + 1}};
    json["lines"] = ordered_json::array();
    for (std::size_t k = 0; k < motion.lines.size(); ++k) {
        json["lines"].push_back(line_json(motion, k, recorded));
    }
    json["placement"] = placement_json(motion.placement);
    return json;
}

std::string remarks_on(const LinesMotion& motion) {
    constexpr std::size_t most_shown = 16;  // more fill the screen
    const std::size_t count = motion.lines.size();
    std::string text = text_of("%zu of %zu lines followed", motion.followed(), count);
    text += motion.followed() < 2 ? ".\n" : "; motion.csv is their weighted mean.\n";
    for (std::size_t k = 0; k < std::min(count, most_shown); ++k) {
        text += line_in_words(motion, k);
    }
    if (count > most_shown) {
        text += text_of("The other %zu lines are in summary.json.\n", count - most_shown);
    }
    return text + placement_in_words(motion.placement);
}

std::vector<std::string> warnings_of(const LinesMotion& motion) {
    std::vector<std::pair<std::string, std::vector<std::size_t>>> said;
    for (std::size_t k = 0; k < motion.lines.size(); ++k) {
        for (const std::string& warning : motion.lines[k].motion.warnings) {
            auto found = std::ranges::find(said, warning, [](const auto& s) { return s.first; });
            if (found == said.end()) {
                found = said.insert(said.end(), {warning, {}});
            }
            if (found->second.empty() || found->second.back() != k + 1) {
                found->second.push_back(k + 1);
            }
        }
    }
    std::vector<std::string> warnings;
    for (const auto& [warning, lines] : said) {
        std::string names;
        for (const std::size_t line : lines) {
            names += (names.empty() ? "" : ", ") + std::to_string(line);
        }
        warnings.push_back(lines.size() == motion.lines.size()
                               ? warning
                               : (lines.size() > 1 ? "lines " : "line ") + names + ": " + warning);
    }
    return warnings;
}

}  // namespace examples
