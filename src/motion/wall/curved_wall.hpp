// A curved wall under a flat sensor: by how much its echo's energy peaks inside the wall's true
// top, and how sure a reported depth is as such.
#pragma once

#include "echosieve/core/recording.hpp"
#include "echosieve/motion/artery_motion.hpp"
#include "motion/wall/separation.hpp"

namespace echosieve {

// Symbols (x across the vessel from the beam, z depth; the face's middle is the origin)
//   R, z_w   radius of the wall's layer, depth of its top: where it is nearest to the beam's normal
//   a        half width of the face;  k = 2 pi f_0 / c
//   phi      angle along the arc from its top: the facet lies at x = R sin phi,
//            R (1 - cos phi) from the top towards the lumen
//   D(phi)   distance of the facet from the face's nearest point: beneath a flat face a wave is
//            plane, beside it spreads from the edge
//   d(phi)   that distance, less the top's; towards the lumen positive
//   psi      angle between the facet's normal and the way to that point
//   s        under which a facet answers: w(phi) = exp(-psi^2 / (2 s^2))
//   h        roughness, standard deviation of the facets' radius;  l length of one facet
//   sigma    of the pulse's energy over depth: c sqrt(ln 2) / (2 pi B)
//   g(x) = exp(-x^2 / (4 sigma^2))
//   chi = exp(-(2 k h)^2)     part of the energy that is left coherent (Rayleigh, from memory)
//   E(x) = chi |int w g(x - d) exp(-i 2 k d) dphi|^2 + (1 - chi) (l / R) int w^2 g(x - d)^2 dphi
//
// A smooth arc answers from its top alone, where the phase stands still; a rough one from all of
// it, and E peaks up to about 0.8 sigma inside the top, however wide the arc. s, h and l are not
// known: offset and deviation are means over what is common (common practice, no source).

/// A layer of a wall, and what of it answers.
struct CurvedWall {
    double radius = 3e-3;  ///< R, > 0 [m]
    double depth = 10e-3;  ///< z_w [m]
    bool far = false;      ///< seen from inside the vessel
    double spread = 0.12;  ///< s, > 0 [rad]
    double roughness = 0;  ///< h [m]
};

/// Where E peaks, from the true top towards the lumen, and how much of it is not coherent, 0 to 1.
struct ArcPeak {
    double offset = 0;  ///< [m]
    double rough = 0;
};

/// Throws InvalidInput for a radius or a spread that is not positive, for a sensor of unknown
/// width, and for settings outside their domain.
[[nodiscard]] ArcPeak arc_peak(const CurvedWall& wall, const RecordingSettings& settings);

/// Mean offset over the unknown spread and roughness, and its standard deviation, speckle's and an
/// unknown slope along the face included.
struct ArcOffset {
    double offset = 0;     ///< towards the lumen [m]
    double deviation = 0;  ///< [m]
};

/// The spread and roughness of `wall` are not looked at. Throws as arc_peak does.
[[nodiscard]] ArcOffset arc_offset(const CurvedWall& wall, const RecordingSettings& settings);

/// What is taken off both walls' depths where the sensor's width is known, nothing where it is not;
/// the deviations say what the depths are unsure by in either case, the pulse's delay left out.
[[nodiscard]] DepthCorrection depth_correction(const SeparatedWalls& walls,
                                               const RecordingSettings& settings);

/// Standard deviation of a depth: of the wall's own, and of the pulse's delay.
[[nodiscard]] double depth_deviation(double own, const PulseDelay& delay,
                                     const RecordingSettings& settings);

}  // namespace echosieve
