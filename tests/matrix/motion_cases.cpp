// motion: settings and options of tracking, following and blocks.
#include <cstddef>
#include <cstdint>
#include <limits>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "bad_input.hpp"
#include "echosieve/condition/baseband.hpp"
#include "echosieve/condition/frame_check.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/motion/artery_motion.hpp"
#include "echosieve/motion/block_tracker.hpp"
#include "echosieve/motion/layer_limits.hpp"
#include "echosieve/motion/learned_walls.hpp"
#include "echosieve/motion/pulse_delay.hpp"
#include "echosieve/motion/smoothing.hpp"
#include "echosieve/motion/track_artery.hpp"

namespace echosieve::test {
namespace {

const RecordingSettings good_settings{40e6, 500, 6e-6, {4e6, 1e6, {}}, 1540};

/// Silence of 100 frames of 880 samples: all that bad options need.
Recording silence(const RecordingSettings& settings = good_settings) {
    return {settings, FrameMatrix<float>(100, 880)};
}

void settings(BadInputs& out) {
    using S = RecordingSettings;
    const auto all = [&](const char* argument, double S::*member,
                         std::initializer_list<double> values) {
        out.vary("track_artery", argument, good_settings, member, values,
                 [](const S& s) { static_cast<void>(track_artery(silence(s))); });
        out.vary("learn_walls", argument, good_settings, member, values,
                 [](const S& s) { static_cast<void>(learn_walls(silence(s))); });
        out.vary("track_in_blocks", argument, good_settings, member, values,
                 [](const S& s) { static_cast<void>(track_in_blocks(silence(s))); });
    };
    all("sampling_rate", &S::sampling_rate, {0.0, 8e6, not_a_number, infinite});
    all("frame_rate", &S::frame_rate, {0.0, -500.0, not_a_number, infinite});
    all("start_time", &S::start_time, {-1e-6, not_a_number, infinite});
    all("sound_speed", &S::sound_speed, {0.0, -1540.0, not_a_number, infinite});
    for (const double bad : {0.0, -4e6, not_a_number, infinite}) {
        S s = good_settings;
        s.sensor.centre_frequency = bad;
        out.add("track_artery", "centre_frequency", bad,
                [=] { static_cast<void>(track_artery(silence(s))); });
    }
    for (const double bad : {0.0, 9e6, not_a_number}) {
        S s = good_settings;
        s.sensor.bandwidth = bad;
        out.add("track_artery", "bandwidth", bad,
                [=] { static_cast<void>(track_artery(silence(s))); });
    }
}

/// One option of one part of the tracker's.
template <class Part, class Member>
void vary_part(BadInputs& out, const char* argument, Part TrackOptions::*part, Member Part::*member,
               std::initializer_list<std::type_identity_t<Member>> values) {
    for (const Member& value : values) {
        TrackOptions options;
        options.*part.*member = value;
        out.add("track_artery", argument, value,
                [=] { static_cast<void>(track_artery(silence(), options)); });
    }
}

void options(BadInputs& out) {
    using T = TrackOptions;
    vary_part(out, "cutoff", &T::baseband, &BasebandOptions::cutoff, {0.0, not_a_number});
    vary_part(out, "rate", &T::baseband, &BasebandOptions::rate, {1.0, infinite});
    vary_part(out, "energy_range", &T::frames, &FrameCheckOptions::energy_range,
              {1.0, not_a_number});
    vary_part(out, "neighbours", &T::frames, &FrameCheckOptions::neighbours, {0});
    vary_part(out, "smoothing", &T::contact, &ContactOptions::smoothing, {-1.0, not_a_number});
    vary_part(out, "surroundings", &T::contact, &ContactOptions::surroundings,
              {-1.0, not_a_number});
    vary_part(out, "least_coherence", &T::contact, &ContactOptions::least_coherence,
              {1.0, not_a_number});
    vary_part(out, "dead_zone", &T::walls, &WallFinderOptions::dead_zone, {-1e-3, not_a_number});
    vary_part(out, "smallest_diameter", &T::walls, &WallFinderOptions::smallest_diameter,
              {0.0, not_a_number});
    vary_part(out, "largest_diameter", &T::walls, &WallFinderOptions::largest_diameter,
              {1e-3, not_a_number});
    vary_part(out, "scan_spacing", &T::walls, &WallFinderOptions::scan_spacing,
              {0.0, not_a_number});
    vary_part(out, "atoms", &T::echoes, &WallEchoOptions::atoms, {std::size_t{0}});
    vary_part(out, "spread", &T::echoes, &WallEchoOptions::spread, {-0.1, 1.0, not_a_number});
    vary_part(out, "least_energy", &T::echoes, &WallEchoOptions::least_energy, {1.0, not_a_number});
    vary_part(out, "least_confidence", &T::confidence, &WallConfidenceOptions::least_confidence,
              {-0.1, 1.1, not_a_number});
    vary_part(out, "close", &T::confidence, &WallConfidenceOptions::close, {0.0, not_a_number});
    const auto track = [](const T& o) { static_cast<void>(track_artery(silence(), o)); };
    out.vary("track_artery", "averaging", T{}, &T::averaging, {-1e-3, not_a_number}, track);
    out.vary("track_artery", "least_correlation", T{}, &T::least_correlation,
             {-0.1, 1.0, not_a_number}, track);
    const auto smoothed = [=](const Smoothing& smoothing) {
        T changed;
        changed.smoothing = smoothing;
        track(changed);
    };
    for (const double bad : {-1e-3, not_a_number, infinite}) {
        out.add("track_artery", "smoothing sigma", bad, [=] { smoothed(GaussianSmoothing{bad}); });
    }
    for (const int bad : {0, -30}) {
        out.add("track_artery", "moving average", bad, [=] { smoothed(MovingAverage{bad}); });
    }
    out.add("track_artery", "number of frame states", 99, [] {
        const Recording recording = silence();
        const auto view = std::get<FrameMatrix<float>>(recording.samples).view();
        static_cast<void>(track_artery(to_baseband<double>(view, recording.settings),
                                       std::vector<FrameState>(99)));
    });
    for (const std::size_t bad : {std::size_t{0}, std::size_t{1025}}) {
        out.add("track_arteries", "threads", bad, [=] {
            const std::vector<Recording> one{silence()};
            static_cast<void>(track_arteries(one, {}, bad));
        });
    }
}

// Two layers of three frames in two bins.
LayerSetting two_layers() {
    return {{4e6, 4.5e6}, 0.01, 1540, {{{1, 1}, {0, 1e-5, 3e-5}}, {{1, -1}, {0, 2e-5, 1e-5}}}};
}

void layers(BadInputs& out) {
    using S = LayerSetting;
    const char* function = "layer_limits";
    const auto use = [](const S& s) { static_cast<void>(layer_limits(s)); };
    out.vary(function, "noise", two_layers(), &S::noise, {0.0, -1.0, not_a_number, infinite}, use);
    out.vary(function, "sound_speed", two_layers(), &S::sound_speed, {0.0, not_a_number, infinite},
             use);
    const auto changed = [&](const char* argument, auto value, auto change,
                             LayerAssumptions assumptions = {}) {
        S s = two_layers();
        change(s);
        out.add(function, argument, value,
                [=] { static_cast<void>(layer_limits(s, assumptions)); });
    };
    changed("layers", 0, [](S& s) { s.layers.clear(); });
    changed("frequencies", 0, [](S& s) { s.frequencies.clear(); });
    changed("frequency", -4e6, [](S& s) { s.frequencies[1] = -4e6; });
    changed("spectrum", 1, [](S& s) { s.layers[1].spectrum.pop_back(); });
    changed("power of the spectrum", 0, [](S& s) { s.layers[1].spectrum = {0, 0}; });
    changed("power of the spectrum", infinite, [](S& s) { s.layers[0].spectrum[0] = infinite; });
    changed("displacement", 2, [](S& s) { s.layers[1].displacement.pop_back(); });
    changed("displacement", not_a_number, [](S& s) { s.layers[1].displacement[0] = not_a_number; });
    changed("frames", 1, [](S& s) {
        s.layers[0].displacement = {0};
        s.layers[1].displacement = {0};
    });
    changed("frames", 1001, [](S& s) { s.layers[0].displacement.assign(1001, 0.0); });
    changed("weights", 2, [](S& s) { s.weights = {1, 1}; });
    changed("weight", 0, [](S& s) { s.weights = {1, 0, 1}; });
    changed("correlation", 9, [](S& s) { s.layers[0].correlation.assign(9, 1.0); });
    const LayerAssumptions random{.spectra = LayerSpectra::random};
    changed(
        "correlation", 4, [](S& s) { s.layers[0].correlation.assign(4, 1.0); }, random);
    changed(
        "correlation", 3, [](S& s) { s.layers[0].correlation = {1, 1, -1, 1, 1, 1, -1, 1, 1}; },
        random);
    const auto same = [](S&) {};
    changed("part of a shared spectrum that is not the first's", 1, same,
            {.spectra = LayerSpectra::shared});
    changed("courses", 0, same, {.courses = GivenCourses{}});
    changed("course", 2, same, {.courses = GivenCourses{{{0, 1}}}});
    changed("shares", 1, same, {.courses = GivenShares{{{1}}}});
    changed("courses", 3, same, {.courses = GivenShares{{{1, 2, 3}, {1, 2, 3}}}});
    changed("share", not_a_number, same, {.courses = GivenShares{{{1}, {not_a_number}}}});
    out.add(function, "lines", 0,
            [] { static_cast<void>(layer_limits(std::span<const LayerSetting>{})); });
    out.add("two_layer_estimate", "layers", 1, [] {
        S s = two_layers();
        s.layers.pop_back();
        static_cast<void>(two_layer_estimate(s));
    });
    const std::vector<double> course = {0, 1e-5};
    out.add("separability_angle", "centre_frequency", 0,
            [=] { static_cast<void>(separability_angle(course, course, 0, 1540)); });
    out.add("separability_angle", "sound_speed", infinite,
            [=] { static_cast<void>(separability_angle(course, course, 4e6, infinite)); });
    out.add("separability_angle", "frames", 0,
            [] { static_cast<void>(separability_angle({}, {}, 4e6, 1540)); });
}

void blocks(BadInputs& out) {
    using O = BlockOptions;
    const auto use = [](const O& o) { static_cast<void>(track_in_blocks(silence(), o)); };
    const char* function = "track_in_blocks";
    out.vary(function, "length", O{}, &O::length, {0.0, -1.0, not_a_number, infinite}, use);
    out.vary(function, "overlap", O{}, &O::overlap, {0.0, 3.0, not_a_number}, use);
    out.vary(function, "search_reach", O{}, &O::search_reach, {0.0, not_a_number, infinite}, use);
    out.vary(function, "largest_jump", O{}, &O::largest_jump, {0.0, not_a_number}, use);
    out.vary(function, "confirmations", O{}, &O::confirmations, {-1}, use);
    out.vary(function, "longest_gap", O{}, &O::longest_gap, {0.0, not_a_number}, use);
    out.vary(function, "shortest_fit", O{}, &O::shortest_fit, {0.0, 5.0, not_a_number}, use);
    out.vary(function, "longest_loss", O{}, &O::longest_loss, {0.0, not_a_number}, use);
    out.vary(function, "drift_time", O{}, &O::drift_time, {0.0, not_a_number}, use);
    const auto tracker = [](std::size_t samples, double length) {
        return [=] {
            O changed;
            changed.length = length;
            changed.overlap = length / 2;
            changed.shortest_fit = length / 2;
            static_cast<void>(BlockTracker<float>(good_settings, samples, changed));
        };
    };
    out.add("BlockTracker", "samples a frame", 0, tracker(0, 4));
    out.add("BlockTracker", "length", 0.1, tracker(880, 0.1));
    out.add("BlockTracker", "frames a block", 5e9, tracker(880, 1e7));
    out.add("BlockTracker::push", "samples of the frame", 879, [] {
        BlockTracker<float> blocks(good_settings, 880);
        blocks.push(std::span<const float>(std::vector<float>(879)));
    });
    out.add("BlockTracker::push", "frames pushed", 0, [] {
        BlockTracker<float> blocks(good_settings, 880);
        blocks.finish();
        blocks.push(std::span<const float>(std::vector<float>(880)));
    });
}

void conditioned(BadInputs& out) {
    out.add("track_artery", "number of baseband samples", 7, [] {
        const Recording recording = silence();
        const auto view = std::get<FrameMatrix<float>>(recording.samples).view();
        const Baseband<double> line = to_baseband<double>(view, recording.settings);
        const BasebandView torn{BasebandView(line).samples.first(7), line.grid, line.settings};
        static_cast<void>(track_artery(torn, {}));
    });
}

void calibration(BadInputs& out) {
    const auto at = [](double depth, const PulseCalibrationOptions& o) {
        static_cast<void>(calibrate_pulse_delay(silence(), depth, o));
    };
    for (const double bad : {-1e-3, 0.0, 1.0, not_a_number, infinite}) {
        out.add("calibrate_pulse_delay", "depth", bad, [=] { at(bad, {}); });
    }
    using O = PulseCalibrationOptions;
    const auto use = [=](const O& o) { at(12e-3, o); };
    out.vary("calibrate_pulse_delay", "reach", O{}, &O::reach, {0.0, 11.0, not_a_number}, use);
    out.vary("calibrate_pulse_delay", "least_peak", O{}, &O::least_peak, {0.5, not_a_number}, use);
    const std::vector<Echo<Gabor<double>>> echoes{{{12e-6, 4e6, 1e6}, 1.0}};
    const auto moved = [=](std::size_t samples, const SamplingGrid& grid) {
        return [=] {
            std::vector<float> row(samples);
            add_moved_echoes(echoes, 1e-5, 1, good_settings, grid, row);
        };
    };
    out.add("add_moved_echoes", "size of the row", 879, moved(879, {6e-6, 40e6, 880, 0}));
    out.add("add_moved_echoes", "mixing_frequency", 4e6, moved(880, {6e-6, 40e6, 880, 4e6}));
}

}  // namespace

BadInputs motion_cases() {
    BadInputs out;
    settings(out);
    options(out);
    layers(out);
    blocks(out);
    conditioned(out);
    calibration(out);
    return out;
}

}  // namespace echosieve::test
