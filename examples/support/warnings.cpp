#include "support/warnings.hpp"

#include <cstdio>

#include "echosieve/io/files.hpp"
#include "echosieve/io/recording_file.hpp"

namespace examples {

void Warnings::tell(const std::vector<std::string>& warnings) {
    for (const std::string& warning : warnings) {
        if (said_.insert(warning).second) {
            std::fprintf(stderr, "%s: warning: %s\n", subject_.c_str(), warning.c_str());
        }
    }
}

void tell_unknown_settings(const std::filesystem::path& file) {
    for (const std::string& field : echosieve::unknown_settings(file)) {
        std::fprintf(stderr, "%s: field '%s' is not understood, and left out\n",
                     echosieve::printable(file.string()).c_str(), field.c_str());
    }
}

}  // namespace examples
