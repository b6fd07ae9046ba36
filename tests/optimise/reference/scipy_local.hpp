// Minima found by SciPy; written by scipy_local.py, not by hand.
// clang-format off
#pragma once

namespace echosieve::test {

struct RegressionRow {
    double highest_first, first, second_e4, value;
};
inline constexpr RegressionRow misra1a_fits[] = {
    {1000.0, 238.9421291381788, 5.5015643191503045, 0.12455138894438902},
    {200.0, 200.0, 6.790593778421355, 3.3344458821919973},
};

struct ValleyRow {
    double lower, upper, value, a, b, c, d;
};
inline constexpr ValleyRow bounded_valleys[] = {
    {-5.0, 0.8, 0.5026184416097536, 0.8, 0.6509190765628791, 0.42940162797255005, 0.18438575815522235},
    {1.2, 10.0, 1.2645175880418282, 1.2, 1.4084762929462793, 1.9740648195950585, 3.896931911962789},
    {-1.0, 0.5, 1.6678751226630704, 0.5, 0.26221320529479064, 0.07797600498553454, 0.006080257346003596},
};

}  // namespace echosieve::test
