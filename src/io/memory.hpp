// How much memory there is: a file may ask for any amount, and the system says yes to all of it.
#pragma once

#include <unistd.h>

#include <filesystem>
#include <string>

#include "echosieve/io/files.hpp"

namespace echosieve::detail {

/// Throws FileError if a file asks for more bytes than this machine has memory.
inline void require_memory(double bytes, const std::filesystem::path& file,
                           const char* advice = "") {
    const double memory =
        static_cast<double>(sysconf(_SC_PHYS_PAGES)) * static_cast<double>(sysconf(_SC_PAGE_SIZE));
    if (memory > 0 && bytes > memory) {
        const auto gigabytes = [](double size) { return std::to_string(1e-9 * size); };
        throw FileError(file, "asks for " + gigabytes(bytes) + " GB of memory, there are " +
                                  gigabytes(memory) + advice);
    }
}

}  // namespace echosieve::detail
