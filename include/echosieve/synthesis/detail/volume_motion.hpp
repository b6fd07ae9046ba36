// How tissue around a pulsating vessel moves: a linear response to the vessel, breathing and pulse.
#pragma once

#include <cmath>

namespace echosieve::detail {

// Symbols (x, z from the vessel's axis to the scatterer, at rest [m];  r^2 = x^2 + z^2)
//   R  outer radius at rest [m];  c  coupling
//   P  growth of the outer radius [m];  V  shift of the axis, downwards [m]
//   u_P = c P (R / r) (x, z) / r                        a source: incompressible, falls as 1 / r
//   u_V = c V (R / r)^2 (2 x z, z^2 - x^2) / r^2        a dipole: incompressible and irrotational,
//                                                       on the axis it moves with the vessel
// Both are plane flows across the vessel and solve div u = 0 (Lamb, Hydrodynamics, from memory).

/// The part of a scatterer's displacement that the vessel makes, per metre of P and of V.
struct VesselResponse {
    double push_x = 0;
    double push_z = 0;
    double shift_x = 0;
    double shift_z = 0;
};

/// For a scatterer outside the vessel, r > 0.
[[nodiscard]] inline VesselResponse vessel_response(double x, double z, double outer_radius,
                                                    double coupling) noexcept {
    const double square = x * x + z * z;
    const double push = coupling * outer_radius / square;
    const double shift = coupling * outer_radius * outer_radius / (square * square);
    return {push * x, push * z, shift * 2 * x * z, shift * (z * z - x * x)};
}

}  // namespace echosieve::detail
