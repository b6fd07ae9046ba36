// Published test problems for optimisers under constraints, each with its bounds, constraints,
// minimisers, minimum and what holds at the minimum.
//
// Source: Liang, Runarsson, Mezura-Montes, Clerc, Suganthan, Coello and Deb, Problem definitions
// and evaluation criteria for the CEC 2006 special session on constrained real-parameter
// optimization, technical report, 18 September 2006: definitions, bounds, minima and minimisers.
// Minimisers and multipliers were computed anew to the digits given here; where they differ from
// the report's, it is said. The report's form: g <= 0, |h| <= 1e-4. Its success: feasible, and no
// more than 1e-4 above the minimum, within 500,000 evaluations, over 25 runs.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <numbers>
#include <span>
#include <string>
#include <vector>

#include "echosieve/core/box.hpp"
#include "echosieve/optimise/objective.hpp"

namespace echosieve::test {

/// A constraint that holds with equality at the minimisers, and its Lagrange multiplier there:
/// gradient of the objective + sum of multiplier * gradient of the constraint = 0 in every
/// coordinate that is at no bound of the box.
struct ActiveConstraint {
    std::size_t index = 0;  ///< into g, and after all g into h
    double multiplier = 0;
};

/// An objective under constraints: any optimiser takes it as it is.
struct ConstrainedProblem {
    std::string name;
    double (*function)(std::span<const double>);
    void (*constraint)(std::span<const double>, std::span<double> g, std::span<double> h);
    std::size_t inequality_count;
    std::size_t equality_count;
    Box<double> box;
    std::vector<std::vector<double>> minimisers;
    double minimum;
    double minimum_tolerance;     ///< on the value at the minimisers, from their digits
    double constraint_tolerance;  ///< on the active constraints there, from their digits
    std::vector<ActiveConstraint> active;
    std::string source = "Liang et al. 2006";

    [[nodiscard]] double operator()(std::span<const double> x) const { return function(x); }
    [[nodiscard]] std::size_t inequalities() const { return inequality_count; }
    [[nodiscard]] std::size_t equalities() const { return equality_count; }
    [[nodiscard]] double equality_tolerance() const { return 1e-4; }
    void constrain(std::span<const double> x, std::span<double> g, std::span<double> h) const {
        constraint(x, g, h);
    }
};

static_assert(ConstrainedObjective<const ConstrainedProblem, double>);

/// On the value, above the minimum: the report's success.
inline constexpr double constrained_success = 1e-4;

inline std::vector<ConstrainedProblem> constrained_problems() {
    using In = std::span<const double>;
    using Out = std::span<double>;
    std::vector<ConstrainedProblem> all;
    all.push_back({"g01",
                   [](In x) {
                       double sum = 0;
                       for (std::size_t k = 0; k < 4; ++k) {
                           sum += 5 * x[k] - 5 * x[k] * x[k];
                       }
                       for (std::size_t k = 4; k < 13; ++k) {
                           sum -= x[k];
                       }
                       return sum;
                   },
                   [](In x, Out g, Out) {
                       g[0] = 2 * x[0] + 2 * x[1] + x[9] + x[10] - 10;
                       g[1] = 2 * x[0] + 2 * x[2] + x[9] + x[11] - 10;
                       g[2] = 2 * x[1] + 2 * x[2] + x[10] + x[11] - 10;
                       g[3] = -8 * x[0] + x[9];
                       g[4] = -8 * x[1] + x[10];
                       g[5] = -8 * x[2] + x[11];
                       g[6] = -2 * x[3] - x[4] + x[9];
                       g[7] = -2 * x[5] - x[6] + x[10];
                       g[8] = -2 * x[7] - x[8] + x[11];
                   },
                   9,
                   0,
                   Box<double>({0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0},
                               {1, 1, 1, 1, 1, 1, 1, 1, 1, 100, 100, 100, 1}),
                   {{1, 1, 1, 1, 1, 1, 1, 1, 1, 3, 3, 3, 1}},
                   -15,
                   0,
                   0,
                   // Six constraints hold three coordinates: multipliers are not unique.
                   {{0, 0}, {1, 0}, {2, 0}, {6, 1}, {7, 1}, {8, 1}}});
    all.push_back({"g04",
                   [](In x) {
                       return 5.3578547 * x[2] * x[2] + 0.8356891 * x[0] * x[4] + 37.293239 * x[0] -
                              40792.141;
                   },
                   [](In x, Out g, Out) {
                       const double u = 85.334407 + 0.0056858 * x[1] * x[4] +
                                        0.0006262 * x[0] * x[3] - 0.0022053 * x[2] * x[4];
                       const double v = 80.51249 + 0.0071317 * x[1] * x[4] +
                                        0.0029955 * x[0] * x[1] + 0.0021813 * x[2] * x[2];
                       const double w = 9.300961 + 0.0047026 * x[2] * x[4] +
                                        0.0012547 * x[0] * x[2] + 0.0019085 * x[2] * x[3];
                       g[0] = u - 92;
                       g[1] = -u;
                       g[2] = v - 110;
                       g[3] = 90 - v;
                       g[4] = w - 25;
                       g[5] = 20 - w;
                   },
                   6,
                   0,
                   Box<double>({78, 33, 27, 27, 27}, {102, 45, 45, 45, 45}),
                   {{78, 33, 29.99525602568160, 45, 36.77581290578821}},
                   -30665.53867178332,
                   1e-10,
                   1e-13,
                   {{0, 403.2688672}, {5, 809.4250348}}});
    all.push_back({"g06",
                   [](In x) { return std::pow(x[0] - 10, 3) + std::pow(x[1] - 20, 3); },
                   [](In x, Out g, Out) {
                       const double b = (x[1] - 5) * (x[1] - 5);
                       g[0] = 100 - (x[0] - 5) * (x[0] - 5) - b;
                       g[1] = (x[0] - 6) * (x[0] - 6) + b - 82.81;
                   },
                   2,
                   0,
                   Box<double>({13, 0}, {100, 100}),
                   // Both circles meet at x1 = 14.095, x2 = 5 - sqrt(17.280975).
                   {{14.095, 0.842960789215478184}},
                   -6961.813875580139,
                   1e-11,
                   1e-13,
                   {{0, 1097.118932}, {1, 1229.542082}}});
    all.push_back({"g08",
                   [](In x) {
                       const double a = 2 * std::numbers::pi;
                       return -std::pow(std::sin(a * x[0]), 3) * std::sin(a * x[1]) /
                              (std::pow(x[0], 3) * (x[0] + x[1]));
                   },
                   [](In x, Out g, Out) {
                       g[0] = x[0] * x[0] - x[1] + 1;
                       g[1] = 1 - x[0] + (x[1] - 4) * (x[1] - 4);
                   },
                   2,
                   0,
                   // Singular, 0 / 0, where x1 = 0.
                   Box<double>({0, 0}, {10, 10}),
                   {{1.227971352607526, 4.245373366122749}},
                   -0.0958250414180359,
                   1e-15,
                   0,
                   {}});
    all.push_back({"g09",
                   [](In x) {
                       return std::pow(x[0] - 10, 2) + 5 * std::pow(x[1] - 12, 2) +
                              std::pow(x[2], 4) + 3 * std::pow(x[3] - 11, 2) +
                              10 * std::pow(x[4], 6) + 7 * x[5] * x[5] + std::pow(x[6], 4) -
                              4 * x[5] * x[6] - 10 * x[5] - 8 * x[6];
                   },
                   [](In x, Out g, Out) {
                       g[0] = -127 + 2 * x[0] * x[0] + 3 * std::pow(x[1], 4) + x[2] +
                              4 * x[3] * x[3] + 5 * x[4];
                       g[1] = -282 + 7 * x[0] + 3 * x[1] + 10 * x[2] * x[2] + x[3] - x[4];
                       g[2] = -196 + 23 * x[0] + x[1] * x[1] + 6 * x[5] * x[5] - 8 * x[6];
                       g[3] = 4 * x[0] * x[0] + x[1] * x[1] - 3 * x[0] * x[1] + 2 * x[2] * x[2] +
                              5 * x[5] - 11 * x[6];
                   },
                   4,
                   0,
                   Box<double>(std::vector<double>(7, -10), std::vector<double>(7, 10)),
                   // Newton's method on the conditions of Karush, Kuhn and Tucker in 30 digits; the
                   // report's differs in the 7th digit, its value in the 15th.
                   {{2.3304993729, 1.9513723729, -0.4775413924, 4.3657262337, -0.6244869705,
                     1.0381310186, 1.5942267116}},
                   680.6300573744021,
                   1e-8,
                   1e-8,
                   {{0, 1.13972}, {3, 0.3686145}}});
    all.push_back({"g11",
                   [](In x) { return x[0] * x[0] + (x[1] - 1) * (x[1] - 1); },
                   [](In x, Out, Out h) { h[0] = x[1] - x[0] * x[0]; },
                   0,
                   1,
                   Box<double>({-1, -1}, {1, 1}),
                   // Where h = 1e-4, which the tolerance lets pass: x1^2 = 1/2 - 1e-4, and the
                   // minimum is 3/4 - 1e-4. Of h = 0 it is 3/4 at (+-sqrt(1/2), 1/2).
                   {{std::sqrt(0.4999), 0.5}, {-std::sqrt(0.4999), 0.5}},
                   0.7499,
                   1e-15,
                   1e-15,
                   {{0, 1}}});
    all.push_back({"g12",
                   [](In x) {
                       double sum = -100;
                       for (const double v : x) {
                           sum += (v - 5) * (v - 5);
                       }
                       return sum / 100;
                   },
                   [](In x, Out g, Out) {
                       // Inside one of the 729 spheres of radius 1/4 about the whole numbers 1 to
                       // 9: the nearest of each coordinate is the nearest of all.
                       double sum = -0.0625;
                       for (const double v : x) {
                           const double nearest = std::clamp(std::round(v), 1.0, 9.0);
                           sum += (v - nearest) * (v - nearest);
                       }
                       g[0] = sum;
                   },
                   1,
                   0,
                   Box<double>({0, 0, 0}, {10, 10, 10}),
                   {{5, 5, 5}},
                   -1,
                   0,
                   0,
                   {}});
    all.push_back({"g24",
                   [](In x) { return -x[0] - x[1]; },
                   [](In x, Out g, Out) {
                       const double a = x[0];
                       g[0] = ((-2 * a + 8) * a - 8) * a * a + x[1] - 2;
                       g[1] = (((-4 * a + 32) * a - 88) * a + 96) * a + x[1] - 36;
                   },
                   2,
                   0,
                   // Two islands are feasible; the minimum lies on one.
                   Box<double>({0, 0}, {3, 4}),
                   {{2.329520197477623, 3.17849307411774}},
                   -5.50801327159536,
                   1e-13,
                   1e-12,
                   {{0, 0.2876025}, {1, 0.7123975}}});
    return all;
}

}  // namespace echosieve::test
