// The problems of the comparison.
#pragma once

#include <cstddef>
#include <vector>

#include "counted_problem.hpp"
#include "echo_reference.hpp"

namespace bench {

/// The series of echo fits, with references from so many local fits each, on so many threads. The
/// target is the reference and a millionth of it.
[[nodiscard]] std::vector<Problem> echo_fit_problems(std::size_t starts, std::size_t threads,
                                                     std::vector<EchoReference>& references);

/// Those of tests/optimise/problems.hpp; the target lies 1e-8 above the minimum. Boxes that have
/// the minimum in their middle are moved.
[[nodiscard]] std::vector<Problem> published_problems();

/// Those of tests/optimise/constrained_problems.hpp and hock_schittkowski.hpp; the target lies 1e-4
/// above the minimum.
[[nodiscard]] std::vector<Problem> constrained_problems();

}  // namespace bench
