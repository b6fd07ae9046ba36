// A user's program: a few headers, one template, a function of each compiled part.
#include <cmath>
#include <cstdio>
#include <filesystem>

#include "echosieve/atoms/gabor.hpp"
#include "echosieve/atoms/inner_product.hpp"
#include "echosieve/io/recording_file.hpp"
#include "echosieve/motion/track_artery.hpp"

int main() {
    const echosieve::Gabor<double> atom{.arrival = 2e-6, .centre_frequency = 4e6, .bandwidth = 1e6};
    const double ratio = std::abs(echosieve::inner_product(atom, atom)) / echosieve::energy(atom);
    const std::filesystem::path settings = echosieve::settings_path("left_common.npy");
    echosieve::Recording silence;
    silence.settings = {125e6, 1000, 10e-6, {4e6, 1e6}, 1540};
    silence.samples = echosieve::FrameMatrix<float>(100, 1000);
    const bool tracked = echosieve::track_artery(silence).usable();
    std::printf("%.3f %s\n", ratio, settings.string().c_str());
    // A closed form against another that agrees with it to a few units in the last place.
    return std::abs(ratio - 1) < 1e-12 && settings == "left_common.json" && !tracked ? 0 : 1;
}
