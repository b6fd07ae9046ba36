// Any text as a recording's settings.
#include <cstddef>
#include <cstdint>

#include "echosieve/core/recording.hpp"
#include "echosieve/io/recording_file.hpp"
#include "memory_file.hpp"
#include "refused.hpp"

using namespace echosieve;
using namespace echosieve::fuzz;

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    static MemoryFile file;
    file.fill({data, size});
    RecordingSettings settings;
    if (accepted([&] { settings = read_settings(file.path()); })) {
        hold(accepted([&] { validate(settings); }), "settings were read that are not valid");
    }
    return 0;
}
