#include "motion/layers/moved_layers.hpp"

#include <complex>
#include <span>
#include <vector>

#include "motion/wall/fit.hpp"
#include "support/check.hpp"
#include "support/layers.hpp"

using namespace echosieve;

TEST_CASE("moved layers are added frame by frame, the first of them turned by their own motion") {
    const std::vector<LayerShare> shares = {{-180e-6, 1.02}, {-120e-6, 0.9}, {30e-6, 0.97}};
    // Every count of frames beside whole registers.
    for (const Eigen::Index frames : {1, 6, 8, 15, 40}) {
        const LayerTimes times = test::made_times(frames);
        const test::MadeGate made = test::made_gate(times, shares, 0.2, 6);
        const Eigen::ArrayXd path = 50e-6 * Eigen::ArrayXd::LinSpaced(frames, 0, 1);
        const Eigen::ArrayXXcd own = own_phasors(made.gate, times, path);
        for (const std::size_t walls : {0U, 1U, 2U, 3U}) {
            CAPTURE(frames);
            CAPTURE(walls);
            Eigen::ArrayXXcd expected = made.gate.values;
            for (std::size_t k = 0; k < shares.size(); ++k) {
                Eigen::ArrayXXcd echoes = layer_phasors(made.gate, times, shares[k]);
                if (k < walls) {
                    echoes *= own;
                }
                expected += echoes.rowwise() * made.spectra.row(static_cast<Eigen::Index>(k));
            }
            Eigen::ArrayXXcd sum = made.gate.values;
            add_moved_layers(sum, made.gate, times,
                             {shares, made.spectra, walls > 0 ? own : Eigen::ArrayXXcd(), walls});
            constexpr double rounding = 1e-13;  // of sums of four terms of order one
            CHECK_WITHIN((sum - expected).abs().maxCoeff(), 0.0, rounding);
        }
    }
}
