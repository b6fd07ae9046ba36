#include "support/score.hpp"

#include <cmath>
#include <cstddef>
#include <limits>
#include <stdexcept>
#include <vector>

#include "support/check.hpp"

using namespace examples;
using echosieve::Truth;

namespace {

// Near wall from 10 mm up, far wall from 16 mm down, the inner layers 0.5 mm further in and with
// twice the motion.
Truth made_truth(const std::vector<double>& pulse) {
    Truth truth;
    for (const double p : pulse) {
        truth.walls.push_back(
            {10.5e-3 - 2e-4 * p, 10e-3 - 1e-4 * p, 15.5e-3 + 4e-4 * p, 16e-3 + 2e-4 * p});
        truth.dropped.push_back(false);
    }
    return truth;
}

const std::vector<double> pulse = {0, 1, 0.5, 0.25, 0};

}  // namespace

TEST_CASE("agreement: rms without the mean, gain by least squares, mean error") {
    const Agreement a = agreement({1, 3, 5, 8}, {0, 1, 2, 3});
    // Deviations of x: -3.25, -1.25, 0.75, 3.75; of t: -1.5, -0.5, 0.5, 1.5.
    CHECK_WITHIN(a.offset, 4.25 - 1.5, 1e-12);
    CHECK_WITHIN(a.gain_error, (4.875 + 0.625 + 0.375 + 5.625) / 5 - 1, 1e-12);
    CHECK_WITHIN(a.rms, std::sqrt((1.75 * 1.75 + 0.75 * 0.75 + 0.25 * 0.25 + 2.25 * 2.25) / 4),
                 1e-12);
    const Agreement still = agreement({1, 2}, {5, 5});
    CHECK(std::isnan(still.gain_error));
    CHECK_WITHIN(still.rms, 0.5, 1e-12);
    CHECK_THROWS_AS(static_cast<void>(agreement({1}, {1, 2})), std::invalid_argument);
    CHECK_THROWS_AS(static_cast<void>(agreement({}, {})), std::invalid_argument);
}

TEST_CASE("a score counts frames, and judges each wall by the layer that fits better") {
    std::vector<double> one_more = pulse;
    one_more.push_back(0.75);
    Truth truth = made_truth(one_more);
    MeasuredWalls measured;
    for (const echosieve::WallDepths& w : truth.walls) {
        measured.near.push_back(w.near_outer + 30e-6);  // the outer layer, too deep
        measured.far.push_back(w.far_inner);            // the inner layer
        measured.valid.push_back(true);
    }
    measured.valid[1] = false;
    measured.near[1] += 1e-3;
    truth.dropped[3] = true;
    truth.dropped[5] = true;  // and called so
    measured.valid[5] = false;
    measured.near[3] = std::numeric_limits<double>::quiet_NaN();
    const Score result = score(measured, truth);
    CHECK(result.measured == 4);
    CHECK(result.valid == 3);
    CHECK(result.false_valid == 1);
    CHECK_WITHIN(result.far.rms, 0, 1e-15);
    CHECK_WITHIN(result.far.gain_error, 0, 1e-9);
    // One of four frames off by 1 mm: a deviation of sqrt(3) / 4 of it.
    CHECK_WITHIN(result.near.rms, std::sqrt(3.0) / 4 * 1e-3, 1e-12);
    CHECK_WITHIN(result.near_depth, 30e-6 + 1e-3 / 4, 1e-12);
    CHECK_WITHIN(result.far_depth, -0.5e-3 + 2e-4 * (1 + 0.5) / 4, 1e-12);
    // Without the frame that is not valid the diameter errs by the layers' difference alone.
    CHECK(result.valid_distension.rms < 0.2 * result.distension.rms);
    measured.far.pop_back();
    CHECK_THROWS_AS(static_cast<void>(score(measured, truth)), std::invalid_argument);
}

TEST_CASE("frames without a depth are left out of errors, and have none") {
    Truth truth = made_truth(pulse);
    truth.dropped[0] = true;
    std::vector<double> near;
    for (const echosieve::WallDepths& w : truth.walls) {
        near.push_back(w.near_outer + 5e-6);
    }
    near[2] = std::numeric_limits<double>::infinity();
    near[4] += 9e-6;
    const std::vector<double> errors = displacement_errors(near, truth, false);
    REQUIRE(errors.size() == 5);
    CHECK(std::isnan(errors[0]));
    CHECK(std::isnan(errors[2]));
    CHECK_WITHIN(errors[1], -3e-6, 1e-12);
    CHECK_WITHIN(errors[3], -3e-6, 1e-12);
    CHECK_WITHIN(errors[4], 6e-6, 1e-12);
}
