// The swarm's kernel, in every set.
#pragma once

#include "choose.hpp"
#include "echo_swarm_task.hpp"

namespace echosieve::kernels {

/// Runs the swarm from where the particles are.
ECHOSIEVE_DECLARE_KERNEL(run_echo_swarm, EchoSwarmTask)
/// Writes the energy at each particle's place to `value`.
ECHOSIEVE_DECLARE_KERNEL(evaluate_echo_swarm, EchoSwarmTask)

}  // namespace echosieve::kernels
