// Many frames through the fast path: each as alone, whatever the number of threads.
#include "echosieve/pursuit/fast_pursuit.hpp"

#include <complex>
#include <limits>
#include <string>

#include "echosieve/atoms/sampling.hpp"
#include "echosieve/core/random.hpp"
#include "support/check.hpp"

using namespace echosieve;

namespace {

constexpr SamplingGrid grid{20e-6, 125e6 / 15, 44, 4e6};

template <class R>
FrameMatrix<std::complex<R>> noisy_frames(std::size_t count) {
    FrameMatrix<std::complex<R>> frames(count, grid.count);
    for (std::size_t i = 0; i < count; ++i) {
        RandomStream stream(21, i);
        for (std::complex<R>& x : frames[i]) {
            const R re = stream.normal<R>();
            x = {re, stream.normal<R>()};
        }
    }
    return frames;
}

}  // namespace

TEST_CASE_TEMPLATE("any number of threads gives the bits of one frame after the other", R, float,
                   double) {
    const GaborBox box = GaborBox::around({4e6, 1e6}, 0.10, {20e-6, 25.16e-6});
    const auto frames = noisy_frames<R>(23);
    FastPursuit<R> pursuit(grid, box);
    for (const std::size_t threads :
         {std::size_t{1}, std::size_t{2}, std::size_t{4}, std::size_t{50}}) {
        CAPTURE(threads);
        const auto results = pursue_frames(frames.view(), pursuit, threads);
        REQUIRE(results.size() == 23);
        for (std::size_t i = 0; i < results.size(); ++i) {
            const auto& alone = pursuit.run(frames.view()[i]);
            REQUIRE(alone.atoms.size() == 10);
            REQUIRE(results[i].atoms.size() == alone.atoms.size());
            for (std::size_t k = 0; k < alone.atoms.size(); ++k) {
                const auto& x = results[i].atoms[k];
                const auto& y = alone.atoms[k];
                CHECK(x.atom.arrival == y.atom.arrival);
                CHECK(x.atom.centre_frequency == y.atom.centre_frequency);
                CHECK(x.atom.bandwidth == y.atom.bandwidth);
                CHECK(x.amplitude == y.amplitude);
            }
            CHECK(results[i].residual_energy == alone.residual_energy);
            CHECK(results[i].status == alone.status);
        }
    }
}

TEST_CASE("the first frame that is refused says so, and no frames give no results") {
    const GaborBox box = GaborBox::around({4e6, 1e6}, 0.10, {20e-6, 25.16e-6});
    const FastPursuit<float> pursuit(grid, box);
    auto frames = noisy_frames<float>(9);
    frames[5][7] = std::numeric_limits<float>::max();
    frames[8][7] = std::numeric_limits<float>::quiet_NaN();
    for (const std::size_t threads : {std::size_t{1}, std::size_t{3}}) {
        std::string problem;
        try {
            static_cast<void>(pursue_frames(frames.view(), pursuit, threads));
        } catch (const InvalidInput& error) {
            problem = error.what();
        }
        CHECK(problem.starts_with("signal energy = inf"));  // the other one's is nan
    }
    const FrameMatrix<std::complex<float>> none(0, grid.count);
    CHECK(pursue_frames(none.view(), pursuit, 4).empty());
}
