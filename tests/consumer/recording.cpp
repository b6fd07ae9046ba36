// Writes the recording that the programs of all sets of compiler flags are run on.
#include <cstdint>
#include <cstdio>

#include "echosieve/io/recording_file.hpp"
#include "echosieve/synthesis/render.hpp"
#include "echosieve/synthesis/scene.hpp"

int main(int argc, char** argv) {
    if (argc != 2) {
        return 1;
    }
    echosieve::SceneOptions options;
    options.duration = 3;
    options.settings.sampling_rate = 40e6;  // coarse in both times, to be quick
    options.settings.frame_rate = 400;
    const echosieve::Scene scene(options, 3);
    echosieve::write_recording(echosieve::render<std::int16_t>(scene, 3).recording, argv[1]);
    std::printf("written\n");
}
