// [a minimal program]
#include <echosieve/io/recording_file.hpp>
#include <echosieve/motion/track_artery.hpp>
#include <iostream>

int main() {
    const auto recording = echosieve::read_recording("left.npy");
    for (const auto& m : echosieve::track_artery(recording)) {
        std::cout << m.time << ' ' << m.diameter << ' ' << m.diameter_std << '\n';
    }
}
// [end]
