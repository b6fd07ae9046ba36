#include "support/settings_file.hpp"

#include <cstdio>
#include <string>

#include "echosieve/io/file_error.hpp"
#include "echosieve/io/recording_file.hpp"

namespace examples {

void tell_unknown_settings(const std::filesystem::path& file) {
    for (const std::string& field : echosieve::unknown_settings(file)) {
        std::fprintf(stderr, "%s: field '%s' is not understood, and left out\n",
                     echosieve::printable(file.string()).c_str(), field.c_str());
    }
}

}  // namespace examples
