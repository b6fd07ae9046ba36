#include "echosieve/io/recording_file.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <string>
#include <variant>
#include <vector>

#include "echosieve/io/npy.hpp"
#include "folder.hpp"
#include "support/check.hpp"

using namespace echosieve;
using namespace echosieve::test;

namespace {

template <class T>
Recording counted_recording(std::size_t frames, std::size_t samples) {
    Recording recording;
    recording.settings = {125e6, 500, 9e-6, {4e6, 1e6}, 1540};
    FrameMatrix<T> matrix(frames, samples);
    for (std::size_t i = 0; i < frames; ++i) {
        for (std::size_t k = 0; k < samples; ++k) {
            matrix[i][k] = static_cast<T>(100 * i + k);
        }
    }
    recording.samples = matrix;
    return recording;
}

}  // namespace

TEST_CASE_TEMPLATE("a recording read in pieces is the one read at once", T, std::int16_t, float) {
    const Folder folder("pieces");
    const std::filesystem::path file = folder.path / "x.npy";
    write_recording(counted_recording<T>(7, 3), file);
    const Recording recording = read_recording(file);
    const auto& whole = std::get<FrameMatrix<T>>(recording.samples);
    for (const std::size_t piece : {1U, 2U, 7U, 8U, 1000000000U}) {
        CAPTURE(piece);
        RecordingReader reader(file);
        CHECK(reader.frames() == 7);
        CHECK(reader.samples() == 3);
        CHECK(reader.stores_float() == std::is_same_v<T, float>);
        CHECK(reader.settings().frame_rate == 500);
        CHECK_WITHIN(reader.duration(), 7 / 500.0, 1e-15);  // one rounding of a double
        std::size_t seen = 0;
        while (true) {
            const auto read = reader.read(piece);
            const auto& frames = std::get<FrameMatrix<T>>(read);
            if (frames.frames() == 0) {
                break;
            }
            REQUIRE(frames.frames() == std::min(piece, 7 - seen));
            CHECK(frames.samples() == 3);
            for (std::size_t i = 0; i < frames.frames(); ++i) {
                CHECK(std::ranges::equal(frames[i], whole[seen + i]));
            }
            seen += frames.frames();
            CHECK(reader.position() == seen);
        }
        CHECK(seen == 7);
    }
    RecordingReader reader(file);
    const auto nothing = reader.read(0);
    CHECK(std::get<FrameMatrix<T>>(nothing).frames() == 0);
    CHECK(reader.position() == 0);
}

TEST_CASE("what can't be a recording is refused when the file is opened") {
    const Folder folder("opened");
    const std::filesystem::path file = folder.path / "x.npy";
    const auto message = [&] { return message_of([&] { RecordingReader reader(file); }); };
    CHECK(contains(message(), "there is no such file"));
    write_npy(file, std::vector<std::int16_t>{1, 2, 3, 4}, 2, 2);
    CHECK(contains(message(), "x.json: there is no such file"));
    write_recording(counted_recording<std::int16_t>(4, 2), file);
    const std::string bytes = bytes_of(file);
    write_bytes(file, bytes.substr(0, bytes.size() - 1));
    CHECK(contains(message(), "truncated"));
    write_bytes(file, bytes + "x");
    CHECK(contains(message(), "too long"));
}

TEST_CASE("samples that are not finite are found in their piece, with frame and sample") {
    const Folder folder("later");
    const std::filesystem::path file = folder.path / "x.npy";
    write_recording(counted_recording<float>(4, 2), file);
    write_npy(file, std::vector<float>{0, 1, 2, 3, 4, std::nanf(""), 6, 7}, 4, 2);
    RecordingReader reader(file);
    static_cast<void>(reader.read(2));
    const std::string message = message_of([&] { static_cast<void>(reader.read(2)); });
    CAPTURE(message);
    CHECK(contains(message, "sample 1 of frame 2"));
}

TEST_CASE("a file that shrinks while it is read is refused") {
    const Folder folder("shrinks");
    const std::filesystem::path file = folder.path / "x.npy";
    constexpr std::size_t frames = 100000;  // beyond what a stream holds of the file
    write_recording(counted_recording<std::int16_t>(frames, 2), file);
    RecordingReader reader(file);
    static_cast<void>(reader.read(1));
    std::filesystem::resize_file(file, 1000);
    const std::string message = message_of([&] { static_cast<void>(reader.read(frames)); });
    CAPTURE(message);
    CHECK(contains(message, "can't be read on from frame 1"));
}

TEST_CASE("frames that are not finite are refused by their number, and those after them read") {
    const Folder folder("not_finite");
    const std::filesystem::path file = folder.path / "x.npy";
    write_recording(counted_recording<float>(4, 2), file);
    write_npy(file, std::vector<float>{1, 2, 3, 4, 5, std::nanf(""), 7, 8}, 4, 2);
    RecordingReader reader(file);
    CHECK(std::get<FrameMatrix<float>>(reader.read(2)).frames() == 2);
    CHECK(contains(message_of([&] { static_cast<void>(reader.read(1)); }), "sample 1 of frame 2"));
    CHECK(reader.position() == 3);
    const auto last = reader.read(9);
    REQUIRE(std::get<FrameMatrix<float>>(last).frames() == 1);
    CHECK(std::get<FrameMatrix<float>>(last)[0][0] == 7);
}
