// Whether what a file asks for can be held at all, before anything is allocated.
#pragma once

#include <filesystem>

namespace examples {

/// Throws FileError, with `advice`, if `times` the length of a file are more than this machine's
/// memory; a file that can't be looked at is left to who reads it.
void require_memory(const std::filesystem::path& file, double times, const char* advice = "");

}  // namespace examples
