// Settings of a recording, read by a program.
#pragma once

#include <filesystem>

#include "echosieve/core/recording.hpp"

namespace examples {

/// Says on standard error which fields of the file are not understood: they may be misspelt.
/// Throws as echosieve::unknown_settings does.
void tell_unknown_settings(const std::filesystem::path& file);

}  // namespace examples
