// How this file's compiler flags have Eigen lay out and allocate its arrays, as a number.
#pragma once

#include <Eigen/Core>

#include "echosieve/core/version.hpp"

// Two files may hand each other Eigen's types, or ours made of them, if their numbers are equal.
// For preprocessing, and for CMake, which has whole numbers and their operators.

/// Bytes of Eigen's widest packet, and of Lanes (core/detail/lanes.hpp), which are xsimd's.
#if defined(__AVX512F__)
#define ECHOSIEVE_LANE_BYTES 64
#elif defined(__AVX__)
#define ECHOSIEVE_LANE_BYTES 32
#else
#define ECHOSIEVE_LANE_BYTES 16
#endif
#if !defined(EIGEN_VECTORIZE)
#define ECHOSIEVE_PACKET_BYTES 0
#elif defined(EIGEN_VECTORIZE_AVX512)
#define ECHOSIEVE_PACKET_BYTES 64
#elif defined(EIGEN_VECTORIZE_AVX)
#define ECHOSIEVE_PACKET_BYTES 32
#else
#define ECHOSIEVE_PACKET_BYTES 16
#endif

#if defined(EIGEN_DEFAULT_TO_ROW_MAJOR)
#define ECHOSIEVE_ROW_MAJOR 1
#else
#define ECHOSIEVE_ROW_MAJOR 0
#endif
#if defined(_GLIBCXX_DEBUG)
#define ECHOSIEVE_DEBUG_CONTAINERS 2
#else
#define ECHOSIEVE_DEBUG_CONTAINERS 0
#endif

// Two decimal places each: what lies on the stack and on the heap is aligned to so many times 8
// bytes, packets and lanes have so many times 16; then the order, and whose containers.
#define ECHOSIEVE_LAYOUT_OF_MEMORY                                                     \
    (((EIGEN_MAX_STATIC_ALIGN_BYTES / 8 * 100 + EIGEN_DEFAULT_ALIGN_BYTES / 8) * 100 + \
      ECHOSIEVE_PACKET_BYTES / 16 * 10 + ECHOSIEVE_LANE_BYTES / 16) *                  \
         10 +                                                                          \
     ECHOSIEVE_ROW_MAJOR + ECHOSIEVE_DEBUG_CONTAINERS)
#define ECHOSIEVE_LAYOUT_OF_EIGEN \
    ((EIGEN_WORLD_VERSION * 100 + EIGEN_MAJOR_VERSION) * 100 + EIGEN_MINOR_VERSION)
#define ECHOSIEVE_LAYOUT_OF_OURS \
    ((ECHOSIEVE_VERSION_MAJOR * 100 + ECHOSIEVE_VERSION_MINOR) * 100 + ECHOSIEVE_VERSION_PATCH)

/// The number. With the versions, since the bodies must be the same as well.
#define ECHOSIEVE_LAYOUT                                                           \
    ((ECHOSIEVE_LAYOUT_OF_MEMORY * 100000 + ECHOSIEVE_LAYOUT_OF_EIGEN) * 1000000 + \
     ECHOSIEVE_LAYOUT_OF_OURS)
