// Any bytes as a .npy file: read whole, frame by frame, and as several lines.
#include <cstddef>
#include <cstdint>
#include <variant>

#include "echosieve/core/recorded_lines.hpp"
#include "echosieve/io/npy.hpp"
#include "echosieve/io/recording_file.hpp"
#include "memory_file.hpp"
#include "refused.hpp"

using namespace echosieve;
using namespace echosieve::fuzz;

namespace {

constexpr char settings[] =
    R"({"sampling_rate": 4e7, "frame_rate": 500, "start_time": 6e-6, "centre_frequency": 4e6,)"
    R"( "bandwidth": 1e6, "sound_speed": 1540})";

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    static MemoryFile file;
    static MemoryFile beside;
    file.fill({data, size});
    beside.fill({reinterpret_cast<const std::uint8_t*>(settings), sizeof(settings) - 1});
    std::size_t values = 0;
    const bool good = accepted([&] {
        values = std::visit([](const auto& m) { return m.values().size(); }, read_npy(file.path()));
    });
    hold(!good || (values > 0 && values * 2 < size), "read more than the file holds");
    static_cast<void>(accepted([&] {
        RecordingReader reader(file.path(), beside.path());
        hold(good, "opened what read_npy refuses");
        while (reader.position() < reader.frames()) {
            const std::size_t before = reader.position();
            static_cast<void>(accepted([&] { static_cast<void>(reader.read(3)); }));
            hold(reader.position() > before, "reading does not get on");
        }
    }));
    static_cast<void>(accepted([&] {
        const RecordedLines lines = read_lines(file.path(), beside.path());
        validate(lines);
        std::size_t all = 0;
        for (const Recording& line : lines.lines) {
            all += line.frame_count() * line.sample_count();
        }
        hold(all > 0 && all * 2 < size, "read more lines than the file holds");
        hold(!good || all == values, "one line is not what read_npy reads");
    }));
    return 0;
}
