// Orthogonal pursuit against scikit-learn's, real double dictionaries; see
// reference/orthogonal_mp.py.
#include <Eigen/Core>

#include "echosieve/pursuit/pursue.hpp"
#include "pursuit/reference/orthogonal_mp.hpp"
#include "support/check.hpp"

using namespace echosieve;

TEST_CASE("orthogonal pursuit takes scikit-learn's path") {
    const double tolerance = 1e-11;  // of the coefficients, up to 10 in size, at condition 1e3
    for (const auto& example : test::reference::orthogonal_mp) {
        CAPTURE(example.name);
        MatrixDictionary<double> dictionary(Eigen::Map<const Eigen::MatrixXd>(
            example.dictionary.data(), static_cast<Eigen::Index>(example.rows),
            static_cast<Eigen::Index>(example.columns)));
        REQUIRE(example.path.size() == example.columns * example.steps);
        for (std::size_t step = 1; step <= example.steps; ++step) {
            const auto result = pursue(example.signal, dictionary, Orthogonal{step});
            REQUIRE(result.atoms.size() == step);
            CHECK_WITHIN(result.residual_energy[step - 1], example.energy[step - 1], tolerance);
            const auto expected =
                example.path.subspan((step - 1) * example.columns, example.columns);
            Eigen::VectorXd coefficients =
                Eigen::VectorXd::Zero(static_cast<Eigen::Index>(example.columns));
            for (const auto& atom : result.atoms) {
                coefficients[static_cast<Eigen::Index>(atom.index)] += atom.coefficient;
            }
            for (std::size_t k = 0; k < example.columns; ++k) {
                CHECK_WITHIN(coefficients[static_cast<Eigen::Index>(k)], expected[k], tolerance);
            }
        }
    }
}
