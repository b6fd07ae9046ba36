#include "support/input_size.hpp"

#include <system_error>

#include "memory.hpp"

namespace examples {

void require_memory(const std::filesystem::path& file, double times, const char* advice) {
    std::error_code error;
    const auto bytes = static_cast<double>(std::filesystem::file_size(file, error));
    if (!error) {
        echosieve::detail::require_memory(times * bytes, file, advice);
    }
}

}  // namespace examples
