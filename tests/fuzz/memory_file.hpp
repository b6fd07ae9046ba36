// A file in memory with a name that it can be opened by.
#pragma once

#include <sys/mman.h>
#include <unistd.h>

#include <cstdint>
#include <filesystem>
#include <span>
#include <string>

#include "refused.hpp"

namespace echosieve::fuzz {

/// Lives as long as the program.
class MemoryFile {
public:
    MemoryFile() : descriptor_(memfd_create("fuzz", 0)) {
        hold(descriptor_ >= 0, "no file in memory can be had");
    }
    /// Holds these bytes from now on.
    void fill(std::span<const std::uint8_t> bytes) {
        const bool written =
            ftruncate(descriptor_, 0) == 0 && pwrite(descriptor_, bytes.data(), bytes.size(), 0) ==
                                                  static_cast<ssize_t>(bytes.size());
        hold(written, "the file in memory can't be written");
    }
    [[nodiscard]] std::filesystem::path path() const {
        return "/proc/self/fd/" + std::to_string(descriptor_);
    }

private:
    int descriptor_;
};

}  // namespace echosieve::fuzz
