#include "echosieve/dictionary/atom_box.hpp"

#include <limits>

#include "support/check.hpp"

using namespace echosieve;

namespace {

const ChirpedGaborBox box{{20e-6, 30e-6}, {3.6e6, 4.4e6}, {0.9e6, 1.1e6}, {-2e11, 1e11}};

}  // namespace

TEST_CASE("a chirped atom outside is clamped to the nearest side, its chirp rate too") {
    CHECK(box.clamped({10e-6, 9e6, 0.1e6, 5e11}) ==
          ChirpedGabor<double>{20e-6, 4.4e6, 0.9e6, 1e11});
    CHECK(box.clamped({40e-6, 1e6, 3e6, -5e11}) ==
          ChirpedGabor<double>{30e-6, 3.6e6, 1.1e6, -2e11});
    const ChirpedGabor<double> inside{25e-6, 4e6, 1e6, -1e11};
    CHECK(box.clamped(inside) == inside);
    CHECK(box.contains(inside));
    CHECK_FALSE(box.contains({25e-6, 4e6, 1e6, 2e11}));
    CHECK_FALSE(box.contains({25e-6, 5e6, 1e6, 0}));
}

TEST_CASE("parameters and their ranges have the same numbers") {
    ChirpedGabor<double> atom{1, 2, 3, 4};
    REQUIRE(atom_parameters<ChirpedGabor<double>> == 4);
    for (std::ptrdiff_t j = 0; j < 4; ++j) {
        CHECK(atom_parameter(atom, j) == static_cast<double>(j + 1));
    }
    atom_parameter(atom, 3) = 7;
    CHECK(atom.chirp_rate == 7);
    CHECK(parameter_range(box, 0) == Interval{20e-6, 30e-6});
    CHECK(parameter_range(box, 1) == box.centre_frequency);
    CHECK(parameter_range(box, 2) == box.bandwidth);
    CHECK(parameter_range(box, 3) == box.chirp_rate);
    const Gabor<double> plain{1, 2, 3};
    REQUIRE(atom_parameters<Gabor<double>> == 3);
    for (std::ptrdiff_t j = 0; j < 3; ++j) {
        CHECK(atom_parameter(plain, j) == static_cast<double>(j + 1));
    }
    const GaborBox plain_box{box.arrival, box.centre_frequency, box.bandwidth};
    CHECK(parameter_range(plain_box, 2) == box.bandwidth);
}

TEST_CASE("chirp rates without sense are refused") {
    validate(box);
    for (const double bad :
         {std::numeric_limits<double>::quiet_NaN(), std::numeric_limits<double>::infinity()}) {
        ChirpedGaborBox other = box;
        other.chirp_rate.lower = -bad;
        CHECK_THROWS_AS(validate(other), InvalidInput);
        other = box;
        other.chirp_rate.upper = bad;
        CHECK_THROWS_AS(validate(other), InvalidInput);
    }
    ChirpedGaborBox other = box;
    other.chirp_rate.upper = -3e11;
    CHECK_THROWS_WITH_AS(validate(other),
                         "chirp_rate.upper = -3e+11: must be finite and not below lower [Hz/s]",
                         InvalidInput);
    other = box;
    other.bandwidth.lower = 0;
    CHECK_THROWS_AS(validate(other), InvalidInput);
}
