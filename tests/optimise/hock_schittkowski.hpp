// Problems under constraints of Hock and Schittkowski 1981, Test Examples for Nonlinear Programming
// Codes, Lecture Notes in Economics and Mathematical Systems 187, Springer.
//
// The book writes constraints as >= 0; here g <= 0 is its negative. Where it bounds a coordinate on
// no side or on one, it has -100 or 100 there (problems 100 and 113: -10 and 10, as in the CEC 2006
// collection, where they are g09 and g07): far from the minimisers. Minimisers and minima were
// confirmed by a multistart of sequential quadratic programming and by the conditions of Karush,
// Kuhn and Tucker to 1e-6. Lists in circulation give a point of problem 65 whose value is off in
// the seventh digit, wrong points of 76 and 113, and an eight-digit point of 71 that misses its
// inequality by 9e-7: these are not used here. The start of 65 lies outside its bounds, as
// published: methods clamp it.
#pragma once

#include <cmath>
#include <cstddef>
#include <functional>
#include <numbers>
#include <span>
#include <string>
#include <vector>

#include "echosieve/core/box.hpp"

namespace echosieve::test {

struct HockSchittkowskiProblem {
    std::string name;
    std::function<double(std::span<const double>)> function;
    /// Writes all g (met where <= 0) and h.
    std::function<void(std::span<const double>, std::span<double>, std::span<double>)> constraints;
    std::size_t inequality_count;
    std::size_t equality_count;
    Box<double> box;
    std::vector<double> start;  ///< the published one
    std::vector<double> minimiser;
    double minimum;
    double minimum_tolerance;  ///< on the value at the minimiser, from its digits
    double tolerance = 1e-4;   ///< of equalities

    // A ConstrainedObjective.
    double operator()(std::span<const double> x) const { return function(x); }
    [[nodiscard]] std::size_t inequalities() const { return inequality_count; }
    [[nodiscard]] std::size_t equalities() const { return equality_count; }
    [[nodiscard]] double equality_tolerance() const { return tolerance; }
    void constrain(std::span<const double> x, std::span<double> g, std::span<double> h) const {
        constraints(x, g, h);
    }
};

inline Box<double> free_box(std::size_t n, double lower, double upper) {
    return Box<double>(std::vector<double>(n, lower), std::vector<double>(n, upper));
}

inline std::vector<HockSchittkowskiProblem> hock_schittkowski() {
    using X = std::span<const double>;
    using G = std::span<double>;
    const double root3 = std::numbers::sqrt3;
    std::vector<HockSchittkowskiProblem> all;
    all.push_back(
        {"HS24",
         [=](X x) { return ((x[0] - 3) * (x[0] - 3) - 9) * x[1] * x[1] * x[1] / (27 * root3); },
         [=](X x, G g, G) {
             g[0] = -(x[0] / root3 - x[1]);
             g[1] = -(x[0] + root3 * x[1]);
             g[2] = -(6 - x[0] - root3 * x[1]);
         },
         3,
         0,
         free_box(2, 0, 100),
         {1, 0.5},
         {3, root3},
         -1,
         1e-15});
    all.push_back({"HS35",
                   [](X x) {
                       return 9 - 8 * x[0] - 6 * x[1] - 4 * x[2] + 2 * x[0] * x[0] +
                              2 * x[1] * x[1] + x[2] * x[2] + 2 * x[0] * x[1] + 2 * x[0] * x[2];
                   },
                   [](X x, G g, G) { g[0] = -(3 - x[0] - x[1] - 2 * x[2]); },
                   1,
                   0,
                   free_box(3, 0, 100),
                   {0.5, 0.5, 0.5},
                   {4.0 / 3, 7.0 / 9, 4.0 / 9},
                   1.0 / 9,
                   1e-14});
    all.push_back({"HS39",
                   [](X x) { return -x[0]; },
                   [](X x, G, G h) {
                       h[0] = x[1] - x[0] * x[0] * x[0] - x[2] * x[2];
                       h[1] = x[0] * x[0] - x[1] - x[3] * x[3];
                   },
                   0,
                   2,
                   free_box(4, -100, 100),
                   {2, 2, 2, 2},
                   {1, 1, 0, 0},
                   -1,
                   1e-15});
    all.push_back(
        {"HS40",
         [](X x) { return -x[0] * x[1] * x[2] * x[3]; },
         [](X x, G, G h) {
             h[0] = x[0] * x[0] * x[0] + x[1] * x[1] - 1;
             h[1] = x[0] * x[0] * x[3] - x[2];
             h[2] = x[3] * x[3] - x[1];
         },
         0,
         3,
         free_box(4, -100, 100),
         {0.8, 0.8, 0.8, 0.8},
         {std::pow(2, -1.0 / 3), std::pow(2, -0.5), std::pow(2, -11.0 / 12), std::pow(2, -0.25)},
         -0.25,
         1e-15});
    all.push_back({"HS43",
                   [](X x) {
                       return x[0] * x[0] + x[1] * x[1] + 2 * x[2] * x[2] + x[3] * x[3] - 5 * x[0] -
                              5 * x[1] - 21 * x[2] + 7 * x[3];
                   },
                   [](X x, G g, G) {
                       const double a = x[0] * x[0];
                       const double b = x[1] * x[1];
                       const double c = x[2] * x[2];
                       const double d = x[3] * x[3];
                       g[0] = -(8 - a - b - c - d - x[0] + x[1] - x[2] + x[3]);
                       g[1] = -(10 - a - 2 * b - c - 2 * d + x[0] + x[3]);
                       g[2] = -(5 - 2 * a - b - c - 2 * x[0] + x[1] + x[3]);
                   },
                   3,
                   0,
                   free_box(4, -100, 100),
                   {0, 0, 0, 0},
                   {0, 1, 2, -1},
                   -44,
                   1e-15});
    all.push_back({"HS65",
                   [](X x) {
                       return (x[0] - x[1]) * (x[0] - x[1]) +
                              (x[0] + x[1] - 10) * (x[0] + x[1] - 10) / 9 + (x[2] - 5) * (x[2] - 5);
                   },
                   [](X x, G g, G) { g[0] = -(48 - x[0] * x[0] - x[1] * x[1] - x[2] * x[2]); },
                   1,
                   0,
                   Box<double>({-4.5, -4.5, -5}, {4.5, 4.5, 5}),
                   {-5, 5, 0},
                   {3.650461725213036, 3.650461725213036, 4.620417555320009},
                   0.9535288568047828,
                   1e-13});
    all.push_back({"HS71",
                   [](X x) { return x[0] * x[3] * (x[0] + x[1] + x[2]) + x[2]; },
                   [](X x, G g, G h) {
                       g[0] = -(x[0] * x[1] * x[2] * x[3] - 25);
                       h[0] = x[0] * x[0] + x[1] * x[1] + x[2] * x[2] + x[3] * x[3] - 40;
                   },
                   1,
                   1,
                   free_box(4, 1, 5),
                   {1, 5, 5, 1},
                   {1, 4.74299963726442, 3.82114998418487, 1.37940829317267},
                   17.0140172891563,
                   1e-11});
    all.push_back({"HS76",
                   [](X x) {
                       return x[0] * x[0] + 0.5 * x[1] * x[1] + x[2] * x[2] + 0.5 * x[3] * x[3] -
                              x[0] * x[2] + x[2] * x[3] - x[0] - 3 * x[1] + x[2] - x[3];
                   },
                   [](X x, G g, G) {
                       g[0] = -(5 - x[0] - 2 * x[1] - x[2] - x[3]);
                       g[1] = -(4 - 3 * x[0] - x[1] - 2 * x[2] + x[3]);
                       g[2] = -(x[1] + 4 * x[2] - 1.5);
                   },
                   3,
                   0,
                   free_box(4, 0, 100),
                   {0.5, 0.5, 0.5, 0.5},
                   {3.0 / 11, 23.0 / 11, 0, 6.0 / 11},
                   -103.0 / 22,
                   1e-14});
    all.push_back(
        {"HS100",
         [](X x) {
             return std::pow(x[0] - 10, 2) + 5 * std::pow(x[1] - 12, 2) + std::pow(x[2], 4) +
                    3 * std::pow(x[3] - 11, 2) + 10 * std::pow(x[4], 6) + 7 * x[5] * x[5] +
                    std::pow(x[6], 4) - 4 * x[5] * x[6] - 10 * x[5] - 8 * x[6];
         },
         [](X x, G g, G) {
             g[0] = -(127 - 2 * x[0] * x[0] - 3 * std::pow(x[1], 4) - x[2] - 4 * x[3] * x[3] -
                      5 * x[4]);
             g[1] = -(282 - 7 * x[0] - 3 * x[1] - 10 * x[2] * x[2] - x[3] + x[4]);
             g[2] = -(196 - 23 * x[0] - x[1] * x[1] - 6 * x[5] * x[5] + 8 * x[6]);
             g[3] = -(-4 * x[0] * x[0] - x[1] * x[1] + 3 * x[0] * x[1] - 2 * x[2] * x[2] -
                      5 * x[5] + 11 * x[6]);
         },
         4,
         0,
         free_box(7, -10, 10),
         {1, 2, 0, 4, 0, 1, 1},
         {2.33049935147405174, 1.95137236847114592, -0.477541399510615805, 4.36572624923625874,
          -0.624486959100388983, 1.03813099410962173, 1.5942266780671519},
         680.630057374402,
         1e-9});
    all.push_back(
        {"HS113",
         [](X x) {
             const auto square = [](double v) { return v * v; };
             return x[0] * x[0] + x[1] * x[1] + x[0] * x[1] - 14 * x[0] - 16 * x[1] +
                    square(x[2] - 10) + 4 * square(x[3] - 5) + square(x[4] - 3) +
                    2 * square(x[5] - 1) + 5 * x[6] * x[6] + 7 * square(x[7] - 11) +
                    2 * square(x[8] - 10) + square(x[9] - 7) + 45;
         },
         [](X x, G g, G) {
             const auto square = [](double v) { return v * v; };
             g[0] = -(105 - 4 * x[0] - 5 * x[1] + 3 * x[6] - 9 * x[7]);
             g[1] = -(-10 * x[0] + 8 * x[1] + 17 * x[6] - 2 * x[7]);
             g[2] = -(8 * x[0] - 2 * x[1] - 5 * x[8] + 2 * x[9] + 12);
             g[3] =
                 -(120 - 3 * square(x[0] - 2) - 4 * square(x[1] - 3) - 2 * x[2] * x[2] + 7 * x[3]);
             g[4] = -(40 - 5 * x[0] * x[0] - 8 * x[1] - square(x[2] - 6) + 2 * x[3]);
             g[5] = -(-x[0] * x[0] - 2 * square(x[1] - 2) + 2 * x[0] * x[1] - 14 * x[4] + 6 * x[5]);
             g[6] = -(30 - 0.5 * square(x[0] - 8) - 2 * square(x[1] - 4) - 3 * x[4] * x[4] + x[5]);
             g[7] = -(3 * x[0] - 6 * x[1] - 12 * square(x[8] - 8) + 7 * x[9]);
         },
         8,
         0,
         free_box(10, -10, 10),
         {2, 3, 5, 5, 1, 2, 7, 3, 6, 10},
         {2.17199634142692, 2.3636830416034, 8.77392573913157, 5.09598443745173, 0.990654756560493,
          1.43057392853463, 1.32164415364306, 9.82872576524495, 8.2800915887356, 8.3759266477347},
         24.30620906818,
         1e-9});
    return all;
}

}  // namespace echosieve::test
