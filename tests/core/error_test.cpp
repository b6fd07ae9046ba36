#include "echosieve/core/error.hpp"

#include <limits>

#include "echosieve/core/detail/scalar.hpp"
#include "support/check.hpp"

using namespace echosieve;

TEST_CASE("a refusal names the quantity, its value and the relation") {
    CHECK_NOTHROW(require(true, "a", 1, "must be"));
    CHECK_THROWS_WITH_AS(require(false, "rate", -2.5, "must be positive [Hz]"),
                         "rate = -2.5: must be positive [Hz]", InvalidInput);
    CHECK_THROWS_WITH_AS(require(false, "name", "x.npy", "must end in .csv"),
                         "name = x.npy: must end in .csv", InvalidInput);
    // Nine digits: enough to tell two floats apart.
    CHECK_THROWS_WITH_AS(require(false, "x", 0.123456789123, "no"), "x = 0.123456789: no",
                         InvalidInput);
    CHECK_THROWS_AS(require(false, "x", 0, "no"), std::invalid_argument);
    CHECK(detail::concatenate("a", 1, ' ', 2.5) == "a1 2.5");
}

TEST_CASE("scalar concepts take float, double and their complex numbers alone") {
    static_assert(Real<float> && Real<double>);
    static_assert(!Real<int> && !Real<long double> && !Real<std::complex<double>>);
    static_assert(Sample<float> && Sample<std::complex<double>>);
    static_assert(!Sample<int> && !Sample<std::complex<int>>);
    static_assert(is_complex<std::complex<float>> && !is_complex<double>);
    static_assert(std::same_as<RealOf<const std::complex<float>>, float>);
    CHECK(is_complex<const std::complex<double>>);
}

TEST_CASE_TEMPLATE("finite is all but infinities and NaN", R, float, double) {
    using Limits = std::numeric_limits<R>;
    for (const R x : {R(0), R(-0.0), Limits::max(), Limits::lowest(), Limits::denorm_min()}) {
        CHECK(is_finite(x));
    }
    CHECK_FALSE(is_finite(Limits::infinity()));
    CHECK_FALSE(is_finite(-Limits::infinity()));
    CHECK_FALSE(is_finite(Limits::quiet_NaN()));
    static_assert(is_finite(R(1)));
}
