#include "motion/layers/layer_sums.hpp"

#include <array>
#include <complex>
#include <vector>

#include "support/check.hpp"
#include "support/layers.hpp"

using namespace echosieve;
using Complex = std::complex<double>;

TEST_CASE("a layer summer's sums are those over frames, one by one, whatever their number") {
    // Every count of frames beside whole registers; one to five layers.
    for (const Eigen::Index frames : {1, 7, 8, 13, 33}) {
        for (const std::size_t layers : {1U, 2U, 5U}) {
            CAPTURE(frames);
            CAPTURE(layers);
            LayerTimes times = test::made_times(frames);
            times.weight[frames / 2] = frames > 1 ? 0 : 1;
            std::vector<LayerShare> shares;
            for (std::size_t k = 0; k < layers; ++k) {
                const auto x = static_cast<double>(k);
                shares.push_back({-180e-6 + 90e-6 * x, 1.02 - 0.1 * x});
            }
            const test::MadeGate made = test::made_gate(times, shares, 0.3, 4);
            LayerSummer summer(made.gate, times, static_cast<Eigen::Index>(layers));
            LayerSums sums;
            summer.sum({layers, {1e-3, 3}}, sums);  // what was asked for before leaves nothing
            summer.sum(shares, sums);
            const Eigen::ArrayXd& p = times.pulse;
            const Eigen::ArrayXd& q = times.bulk;
            const std::array<Eigen::ArrayXd, 6> x = {
                Eigen::ArrayXd::Ones(frames), p, q, p.square(), p * q, q.square()};
            // Sums of at most 33 terms of order one, weighed by x.
            const auto rounding = [&](std::size_t m) { return 1e-13 * x[m].abs().sum() + 1e-300; };
            for (Eigen::Index j = 0; j < made.gate.bins(); ++j) {
                for (std::size_t m = 0; m < 6; ++m) {
                    const auto pairs = sums.pairs(j, static_cast<Eigen::Index>(m));
                    for (std::size_t k = 0; k < layers; ++k) {
                        const Eigen::ArrayXcd e = layer_phasors(made.gate, times, shares[k]).col(j);
                        const Eigen::ArrayXcd weighed =
                            e.conjugate() * (x[m] * times.weight).cast<Complex>();
                        const auto row = static_cast<Eigen::Index>(k);
                        for (std::size_t l = 0; l < layers; ++l) {
                            const Eigen::ArrayXcd f =
                                layer_phasors(made.gate, times, shares[l]).col(j);
                            CHECK_WITHIN(pairs(row, static_cast<Eigen::Index>(l)),
                                         Complex((weighed * f).sum()), rounding(m));
                        }
                        if (m < 3) {
                            const Complex slow = (weighed * made.gate.values.col(j)).sum();
                            CHECK_WITHIN(
                                Complex(sums.projections(j, static_cast<Eigen::Index>(m))[row]),
                                slow, 10 * rounding(m));
                        }
                    }
                }
            }
        }
    }
}
