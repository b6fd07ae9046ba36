// The course of a wall's fit as tables: what each stage does, and how far it looks.
#pragma once

#include <array>
#include <string_view>

#include "motion/wall/fit.hpp"

namespace echosieve {

// The numbers here and in moves.cpp were read off synthetic recordings, seeds 1 to 230 of both
// simulators; what each is for stands beside it. docs/following_walls.md tells the course.

/// What can be done to one wall, see moves.cpp; in brackets what is free.
enum class Move {
    three_layers,  ///< wall and two layers of tissue, from many starts [shares a, b]
    polish,        ///< the same from where they are, in all frames [shares a, b]
    drift,         ///< what the wall does slowly by itself, by its echoes' phase [own motion]
    ramp,          ///< that as a steady drift over cycles of the carrier [a, own motion]
    bound,         ///< the share is held near what it is now, until released
    take,          ///< the likeliest wall, and its gate taken apart accordingly [a, z_r, beliefs]
    anchor,        ///< the wall's strongest echo: the layer followed is not far outside it
    refer,         ///< the depth to the layer followed, the share along the strain
    cycle,         ///< every cycle of the carrier within reach [a, b]
    wall_bulk,     ///< a step up the likelihood [b of the wall]
    tissue_bulk,   ///< the same [b of the tissue on it]
    release        ///< no bounds of the share
};

struct Stage {
    std::string_view name;
    Move move;
    ShareGrid shares{1, 1, 1};  ///< take: over the share that it starts from
    bool depths = false;        ///< take: over most of the gate, too
    double wider = 0;           ///< take: half length of the gate beyond the usual one [m]
    double step = 0;            ///< wall_bulk, tissue_bulk
};

// While the place is open: shares a third off either way, in steps of 6 %, and a gate longer at
// both ends, for an echo that is found there.
inline constexpr ShareGrid wide_shares{0.75, 1.33, 11};
inline constexpr double wider_gate = 0.3e-3;  // [m]
// Once it is settled: what a step of the time courses may change, in steps of 2.8 %.
inline constexpr ShareGrid close_shares{0.9, 1.12, 9};
// Of b, to either side: a parabola goes through the evidence for three.
inline constexpr double wall_bulk_step = 0.02;
inline constexpr double tissue_bulk_step = 0.04;

/// Before the time courses are fitted with the walls' gates among the others.
inline constexpr std::array rough_stages = {
    Stage{"three layers", Move::three_layers},
};

/// Where each wall is and in which cycle of the carrier: after this nothing moves far.
inline constexpr std::array placing_stages = {
    Stage{"polish", Move::polish},
    Stage{"own drift", Move::drift},
    Stage{"steady drift", Move::ramp},
    Stage{"bounds", Move::bound},
    Stage{"take apart, wide", Move::take, wide_shares, true, wider_gate},
    Stage{"strongest echo", Move::anchor},
    Stage{"layer followed", Move::refer},
    Stage{"cycle", Move::cycle},
    Stage{"bounds anew", Move::bound},
    Stage{"take apart, wide", Move::take, wide_shares, true, wider_gate},
    Stage{"layer followed", Move::refer},
    Stage{"take apart, close", Move::take, close_shares},
    Stage{"layer followed", Move::refer},
    Stage{"no bounds", Move::release},
};

/// Between two steps of the time courses.
inline constexpr std::array fine_stages = {
    Stage{.name = "wall's bulk share", .move = Move::wall_bulk, .step = wall_bulk_step},
    Stage{.name = "tissue's bulk share", .move = Move::tissue_bulk, .step = tissue_bulk_step},
    Stage{"take apart, close", Move::take, close_shares},
    Stage{"own drift", Move::drift},
    Stage{"take apart, close", Move::take, close_shares},
};

/// With the time courses as they are left.
inline constexpr std::array last_stages = {
    Stage{"take apart, close", Move::take, close_shares},
};

}  // namespace echosieve
