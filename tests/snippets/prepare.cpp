// Makes the recording that the pages' pieces read: left.npy, with left.json beside it.
#include <cstdint>
#include <echosieve/io/recording_file.hpp>
#include <echosieve/synthesis/render.hpp>
#include <echosieve/synthesis/scene.hpp>

int main() {
    echosieve::SceneOptions options;
    options.duration = 2;
    options.settings.sampling_rate = 20e6;
    options.settings.frame_rate = 250;
    options.clutter_decibels = -20;
    options.snr_decibels = 30;
    const echosieve::Scene scene(options, 3);
    write_recording(echosieve::render<std::int16_t>(scene, 3).recording, "left.npy");
}
