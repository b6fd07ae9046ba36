// Once it is made, a conditioner of lines or gates works in the memory that it has.
#include <complex>
#include <cstdint>
#include <span>
#include <vector>

#include "condition/lines.hpp"
#include "echosieve/condition/baseband.hpp"
#include "echosieve/condition/gate_baseband.hpp"
#include "support/allocations.hpp"
#include "support/check.hpp"

using namespace echosieve;
using namespace echosieve::test;

namespace {

// Of three runs, the first among them.
template <class Out, class Conditioner, class T>
std::size_t allocations_of(Conditioner& conditioner, const std::vector<T>& frame) {
    std::vector<Out> out(conditioner.grid().count);
    const std::size_t before = allocations;
    for (int k = 0; k < 3; ++k) {
        conditioner.process(std::span<const T>(frame), std::span<Out>(out));
    }
    return allocations - before;
}

}  // namespace

TEST_CASE("the counter counts what Eigen and operator new take") {
    const std::size_t before = allocations;
    const std::vector<int> some(3);
    const Eigen::ArrayXd more = Eigen::ArrayXd::Zero(5);
    CHECK(some.size() + static_cast<std::size_t>(more.size()) == 8);
    const std::size_t after = allocations;
    CHECK(after > before);
}

TEST_CASE_TEMPLATE("lines and gates are conditioned without allocating", R, float, double) {
    const RecordingSettings settings = settings_of(4e6, 1e6);
    const std::vector<std::int16_t> line(2000, 7);
    const std::vector<float> same(line.begin(), line.end());
    Basebander<R> basebander(settings, line.size());
    CHECK(allocations_of<std::complex<R>>(basebander, line) == 0);
    CHECK(allocations_of<std::complex<R>>(basebander, same) == 0);
    BandPass<R> band_pass(settings, line.size());
    CHECK(allocations_of<R>(band_pass, line) == 0);
    CHECK(allocations_of<std::complex<R>>(band_pass, line) == 0);
    GateBasebander<R> gates({20e-6, 125e6, line.size(), 0}, settings.sensor);
    CHECK(allocations_of<std::complex<R>>(gates, line) == 0);
}
