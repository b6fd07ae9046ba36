#include <cstddef>
#include <variant>
#include <vector>

#include "baselines/gate_finder.hpp"
#include "baselines/gated_track.hpp"
#include "baselines/pursuit_track.hpp"
#include "echosieve/condition/baseband.hpp"
#include "echosieve/condition/frame_check.hpp"
#include "echosieve/core/recording.hpp"
#include "matrix/bad_input.hpp"
#include "matrix/refused.hpp"

using namespace echosieve;
using namespace echosieve::baselines;
using namespace echosieve::test;

TEST_CASE("the ways to compare with refuse bad input") {
    BadInputs out;
    // Silence of 100 frames of 880 samples: all that bad options need.
    const Recording recording{{40e6, 500, 6e-6, {4e6, 1e6, {}}, 1540},
                              FrameMatrix<float>(100, 880)};
    const auto view = std::get<FrameMatrix<float>>(recording.samples).view();
    const Baseband<double> line = to_baseband<double>(view, recording.settings);
    const std::vector<FrameState> states(100, FrameState::good);
    const auto gated = [=](const WallGate& near, const WallGate& far) {
        return [=] { static_cast<void>(track_gates(line, states, {near, far})); };
    };
    for (const double bad : {not_a_number, infinite}) {
        out.add("track_gates", "gate depth", bad, gated({bad}, {16e-3}));
    }
    out.add("track_gates", "gate depth", 1e-3, gated({1e-3}, {16e-3}));
    out.add("track_gates", "far gate depth", 9e-3, gated({10e-3}, {9e-3}));
    for (const double bad : {0.0, -1e-3, not_a_number, infinite}) {
        out.add("track_gates", "gate half_length", bad, gated({10e-3, bad}, {16e-3}));
    }
    using P = PursuitTrackOptions;
    const auto use = [=](const P& o) {
        static_cast<void>(track_echoes(line, states, {{10e-3}, {16e-3}}, o));
    };
    out.vary("track_echoes", "atoms", P{}, &P::atoms, {std::size_t{0}}, use);
    out.vary("track_echoes", "spread", P{}, &P::spread, {-0.1, 1.0, not_a_number}, use);
    out.vary("track_echoes", "least_energy", P{}, &P::least_energy, {1.0, not_a_number}, use);
    out.vary("track_echoes", "association", P{}, &P::association, {0.0, not_a_number}, use);
    out.vary("track_echoes", "least_amplitude", P{}, &P::least_amplitude, {1.0, not_a_number}, use);
    const std::vector<FrameState> few(99, FrameState::good);
    out.add("track_gates", "number of frame states", 99, [=] {
        static_cast<void>(track_gates(line, few, {{10e-3}, {16e-3}}));
    });
    out.add("track_echoes", "number of frame states", 99, [=] {
        static_cast<void>(track_echoes(line, few, {{10e-3}, {16e-3}}));
    });
    out.add("find_wall_gates", "number of frame states", 99,
            [=] { static_cast<void>(find_wall_gates(line, few)); });
    using G = GateSearchOptions;
    const auto find = [=](const G& o) { static_cast<void>(find_wall_gates(line, states, o)); };
    out.vary("find_wall_gates", "half_length", G{}, &G::half_length, {0.0, not_a_number}, find);
    out.vary("find_wall_gates", "dead_zone", G{}, &G::dead_zone, {-1e-3, not_a_number}, find);
    out.vary("find_wall_gates", "candidates", G{}, &G::candidates, {std::size_t{1}}, find);
    out.vary("find_wall_gates", "largest_diameter", G{}, &G::largest_diameter, {1e-3, not_a_number},
             find);
    out.vary("find_wall_gates", "lowest_peak", G{}, &G::lowest_peak, {-0.1, 1.1}, find);
    const auto torn = [=](const auto& take) {
        return [=] {
            take(BasebandView{BasebandView(line).samples.first(7), line.grid, line.settings});
        };
    };
    out.add("track_gates", "number of baseband samples", 7, torn([](const BasebandView& y) {
                static_cast<void>(track_gates(y, {}, {{10e-3}, {16e-3}}));
            }));
    CHECK(out.all().size() >= 30);
    check_refused(out);
}
