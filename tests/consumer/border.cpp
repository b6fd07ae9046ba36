// A user's program that hands all kinds of things across the border of the compiled libraries.
// Whatever flags it is compiled with, it prints the same: the libraries' own numbers to the last
// bit, and to a nanometre those that rest on what its own file computes beforehand.
#include <cmath>
#include <cstdint>
#include <cstdio>
#include <filesystem>
#include <span>
#include <variant>
#include <vector>

#include "border.hpp"
#include "echosieve/condition/baseband.hpp"
#include "echosieve/condition/frame_check.hpp"
#include "echosieve/io/files.hpp"
#include "echosieve/io/npy.hpp"
#include "echosieve/io/recording_file.hpp"
#include "echosieve/kernels/detail/echo_swarm.hpp"
#include "echosieve/kernels/detail/phasors.hpp"
#include "echosieve/motion/artery_motion.hpp"
#include "echosieve/motion/block_tracker.hpp"
#include "echosieve/motion/frame_follower.hpp"
#include "echosieve/motion/learned_walls.hpp"
#include "echosieve/motion/pulse_delay.hpp"
#include "echosieve/motion/track_artery.hpp"

using namespace echosieve;

namespace {

using Frames = FrameMatrix<std::int16_t>;

constexpr std::size_t every = 97;  // frames from one printed to the next

void print(const char* name, const FrameMotion& m) {
    std::printf("%s %a %a %a %a %d %a\n", name, m.time, m.near_wall, m.far_wall,
                std::isnan(m.diameter_std) ? -1 : m.diameter_std, m.valid ? 1 : 0, m.quality);
}

void follow_whole(const Recording& recording) {
    const ArteryMotion motion = track_artery(recording);
    std::printf("tracked %d, %zu of %zu\n", motion.usable() ? 1 : 0, motion.valid_frames(),
                motion.frames.size());
    for (std::size_t i = 0; i < motion.frames.size(); i += every) {
        print("whole", motion.frames[i]);
    }
    std::vector<float> row(500);
    const RecordingSettings& settings = recording.settings;
    add_moved_echoes(motion.near.reference, motion.near.displacement[7], 1, settings,
                     {settings.arrival(motion.near.depth) - 5e-6, 50e6, row.size(), 0}, row);
    double sum = 0;
    for (const float x : row) {
        sum += static_cast<double>(std::abs(x));
    }
    std::printf("echoes %zu, %a; delay %a\n",
                moved_echoes(motion.near.reference, 1e-4, 0.5, settings).size(), sum,
                envelope_delay({2, false}, settings));
    const std::vector<Recording> both = {recording, recording};
    for (const ArteryMotion& other : track_arteries(both, {}, 2)) {  // on threads of its own
        print("threads", other.frames[every]);
    }
}

template <class T>
void follow_frames(const LearnedWalls& walls, const Frames& frames) {
    FrameFollower<T> follower(walls);
    FrameFollower<T> moved(std::move(follower));
    std::vector<T> frame(frames.samples());
    for (std::size_t i = 0; i < frames.frames(); ++i) {
        std::copy(frames[i].begin(), frames[i].end(), frame.begin());
        const FollowedFrame& now = moved.push(std::span<const T>(frame));
        if (i % every == 0) {
            print("follower", now.motion);
        }
    }
}

void follow_blocks(const Recording& recording) {
    BlockOptions options;
    options.length = 2;
    options.overlap = 1;
    const Frames& frames = std::get<Frames>(recording.samples);
    BlockTracker<std::int16_t> tracker(recording.settings, frames.samples(), options);
    std::vector<FrameMotion> done;
    for (std::size_t i = 0; i < frames.frames(); ++i) {
        tracker.push(frames[i]);
        for (const FrameMotion& m : tracker.take()) {
            done.push_back(m);
        }
    }
    tracker.finish();
    std::printf("blocks %zu, %zu frames and %zu at the end\n", tracker.blocks().size(), done.size(),
                tracker.take().size());
    print("block", done[every]);
    print("block", track_in_blocks(recording, options).frames[every]);
}

// What the file conditions by itself, in its own vectors.
void follow_conditioned(const Recording& recording) {
    const auto frames = std::get<Frames>(recording.samples).view();
    const Baseband<double> baseband = to_baseband<double>(frames, recording.settings, {}, 2);
    const std::vector<FrameState> states = check_frames(frames, baseband);
    const ArteryMotion motion = track_artery(baseband, states);
    for (std::size_t i = 0; i < motion.frames.size(); i += every) {
        std::printf("conditioned %.9f %.9f\n", motion.frames[i].near_wall,
                    motion.frames[i].far_wall);
    }
}

void use_kernels() {
    std::vector<std::complex<double>> phasors(12);
    write_phasors(std::vector<double>{1e-6, 2e-6, 5e-6}, {1e6, 2e5, 4}, phasors);
    const std::vector<double> weights(40, 1.0);
    std::vector<double> real(40), imag(40);
    for (std::size_t n = 0; n < real.size(); ++n) {
        const double u = static_cast<double>(n) - 20.25;
        real[n] = std::exp2(-u * u / 32);  // exact enough on every compiler
        imag[n] = 0.5 * real[n];
    }
    EchoSwarm swarm(weights, {{5, 35}, {-0.5, 0.5}, {0.08, 0.3}});
    swarm.seed(4);
    const EchoSwarmPoint found = swarm.search(real, imag);
    std::printf("kernels %a %a, %.4f %.4f\n", phasors[5].real(), phasors[11].imag(), found.arrival,
                found.rotation);
}

// Exceptions and files from one side to the other.
void use_files(const std::filesystem::path& folder, const Recording& recording) {
    try {
        static_cast<void>(read_recording(folder / "none.npy"));
    } catch (const FileError&) {
        std::printf("no such file\n");
    }
    try {
        TrackOptions options;
        options.averaging = -1;
        static_cast<void>(track_artery(recording, options));
    } catch (const InvalidInput& error) {
        std::printf("%s\n", error.what());
    }
    NpyWriter writer(folder / "row.npy", 1, 3);
    writer.write(std::vector<float>{1, 2, 3});
    writer.commit();
    const auto row = std::get<FrameMatrix<float>>(read_npy(folder / "row.npy"));
    RecordingReader reader(folder / "recording.npy");
    const auto part = std::get<Frames>(reader.read(5));
    std::printf("row %a, %zu of %zu frames, %d\n", static_cast<double>(row[0][2]), part.frames(),
                reader.frames(), part[4][300]);
}

}  // namespace

int main(int argc, char** argv) {
    if (argc != 2) {
        return 1;
    }
    const std::filesystem::path folder = argv[1];
    const Recording recording = read_recording(folder / "recording.npy");
    const Frames& frames = std::get<Frames>(recording.samples);
    follow_whole(recording);
    const auto walls = learn_walls(recording);
    if (!walls) {
        return 1;
    }
    const LearnedWalls kept = *walls;  // copied by this file's code, freed by it
    follow_frames<std::int16_t>(kept, frames);
    follow_frames<float>(kept, frames);
    follow_blocks(recording);
    follow_conditioned(recording);
    use_kernels();
    use_files(folder, recording);
    take_signals_apart();
}
