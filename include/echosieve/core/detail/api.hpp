// What marks a function whose body a compiled library holds.
#pragma once

#include <version>  // tells which standard library this is

#include "echosieve/core/version.hpp"

// What a function of a compiled library takes and gives back is laid out alike on both sides:
// plain structs, spans and vectors, whatever the user's compiler flags; no type of Eigen's, whose
// size and alignment follow them. What can still differ is part of the function's name, so that the
// linker refuses a program that doesn't suit its library, in words:
//
//   undefined reference to `echosieve::track_artery[abi:this_program_needs_an_echosieve_library_
//   of_version_0_1_0_built_with_GLIBCXX_DEBUG](...)'

#if defined(_LIBCPP_VERSION)
#define ECHOSIEVE_BUILT_WITH "_built_with_libcxx"
#elif defined(_GLIBCXX_DEBUG)
#define ECHOSIEVE_BUILT_WITH "_built_with_GLIBCXX_DEBUG"
#elif defined(_GLIBCXX_USE_CXX11_ABI) && !_GLIBCXX_USE_CXX11_ABI
#define ECHOSIEVE_BUILT_WITH "_built_with_GLIBCXX_USE_CXX11_ABI_0"
#else
#define ECHOSIEVE_BUILT_WITH ""
#endif

#define ECHOSIEVE_TEXT(x) #x
#define ECHOSIEVE_JOINED(a, b, c) ECHOSIEVE_TEXT(a) "_" ECHOSIEVE_TEXT(b) "_" ECHOSIEVE_TEXT(c)

/// What a compiled library shows; all else in it stays its own (src/compiled_room.cmake). For the
/// members of class templates, whose names clang gives no tag, and for exceptions: the one class on
/// both sides, so that what a library throws is caught by its type.
#define ECHOSIEVE_EXPORT [[gnu::visibility("default")]]

#define ECHOSIEVE_NEEDED                                                           \
    "this_program_needs_an_echosieve_library_of_version_" ECHOSIEVE_JOINED(        \
        ECHOSIEVE_VERSION_MAJOR, ECHOSIEVE_VERSION_MINOR, ECHOSIEVE_VERSION_PATCH) \
        ECHOSIEVE_BUILT_WITH

/// Before the declaration, in a public header, of every function that a compiled library holds.
#define ECHOSIEVE_API [[gnu::visibility("default"), gnu::abi_tag(ECHOSIEVE_NEEDED)]]
