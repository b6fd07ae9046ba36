// Processor time to a nanosecond or so: what else the machine does is not counted.
#pragma once

#include <ctime>

namespace bench {

[[nodiscard]] inline double processor_seconds() {
    timespec now{};
    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &now);
    return static_cast<double>(now.tv_sec) + 1e-9 * static_cast<double>(now.tv_nsec);
}

}  // namespace bench
