// Published test problems for bounded optimisers, each with its bounds, minimiser and minimum.
//
// Sources: Dixon and Szego 1978, Towards Global Optimization 2 (Branin, Goldstein-Price, six-hump
// camel, Hartmann, Shekel; from memory); Jamil and Yang 2013, Int. J. Math. Modelling Num. Opt.
// 4:150-194 (the others). The minima were confirmed by polishing from the minimiser, and not beaten
// by 40 bounded multistarts; Michalewicz 5 is published as -4.687658 (Molga and Smutnicki 2005,
// from memory), its further digits were computed coordinate by coordinate. Matrices in circulation
// differ in one entry each (Hartmann-3 P41, Shekel row 7): these are the ones whose minima are
// given.
#pragma once

#include <array>
#include <cmath>
#include <cstddef>
#include <functional>
#include <initializer_list>
#include <numbers>
#include <span>
#include <string>
#include <vector>

#include "echosieve/core/box.hpp"

namespace echosieve::test {

struct Problem {
    std::string name;
    std::function<double(std::span<const double>)> function;
    Box<double> box;
    std::vector<std::vector<double>> minimisers;
    double minimum;
    double minimum_tolerance;  ///< on the value at the minimisers, from their digits
    std::string source;
};

inline Box<double> cube(std::size_t n, double lower, double upper) {
    return Box<double>(std::vector<double>(n, lower), std::vector<double>(n, upper));
}

inline double hartmann(std::span<const double> x, std::span<const double> a,
                       std::span<const double> p) {
    constexpr std::array<double, 4> c = {1, 1.2, 3, 3.2};
    double sum = 0;
    for (std::size_t i = 0; i < 4; ++i) {
        double exponent = 0;
        for (std::size_t j = 0; j < x.size(); ++j) {
            const double d = x[j] - 1e-4 * p[i * x.size() + j];
            exponent += a[i * x.size() + j] * d * d;
        }
        sum -= c[i] * std::exp(-exponent);
    }
    return sum;
}

/// `p41` is the last row's first entry of 1e4 P.
inline double hartmann_3(std::span<const double> x, double p41 = 381.5) {
    static constexpr double a[] = {3, 10, 30, .1, 10, 35, 3, 10, 30, .1, 10, 35};
    const double p[] = {3689, 1170, 2673, 4699, 4387, 7470, 1091, 8732, 5547, p41, 5743, 8828};
    return hartmann(x, a, p);
}

using ShekelCentres = std::array<std::array<double, 4>, 10>;
inline constexpr ShekelCentres shekel_centres = {{{4, 4, 4, 4},
                                                  {1, 1, 1, 1},
                                                  {8, 8, 8, 8},
                                                  {6, 6, 6, 6},
                                                  {3, 7, 3, 7},
                                                  {2, 9, 2, 9},
                                                  {5, 5, 3, 3},
                                                  {8, 1, 8, 1},
                                                  {6, 2, 6, 2},
                                                  {7, 3.6, 7, 3.6}}};

inline double shekel(std::span<const double> x, std::size_t m,
                     const ShekelCentres& centres = shekel_centres) {
    static constexpr double b[10] = {.1, .2, .2, .4, .4, .6, .3, .7, .5, .5};
    double sum = 0;
    for (std::size_t i = 0; i < m; ++i) {
        double distance = b[i];
        for (std::size_t j = 0; j < 4; ++j) {
            distance += (x[j] - centres[i][j]) * (x[j] - centres[i][j]);
        }
        sum -= 1 / distance;
    }
    return sum;
}

using X = std::span<const double>;

inline double sphere(X x) {
    double sum = 0;
    for (const double v : x) {
        sum += v * v;
    }
    return sum;
}

inline double rosenbrock(X x) {
    double sum = 0;
    for (std::size_t i = 0; i + 1 < x.size(); ++i) {
        sum += 100 * std::pow(x[i + 1] - x[i] * x[i], 2) + std::pow(1 - x[i], 2);
    }
    return sum;
}

inline double rastrigin(X x) {
    double sum = 0;
    for (const double v : x) {
        sum += 10 + v * v - 10 * std::cos(2 * std::numbers::pi * v);
    }
    return sum;
}

inline double ackley(X x) {
    double square = 0;
    double wave = 0;
    const double n = static_cast<double>(x.size());
    for (const double v : x) {
        square += v * v / n;
        wave += std::cos(2 * std::numbers::pi * v) / n;
    }
    return -20 * std::exp(-0.2 * std::sqrt(square)) - std::exp(wave) + 20 + std::numbers::e;
}

inline double griewank(X x) {
    double sum = 0;
    double product = 1;
    for (std::size_t i = 0; i < x.size(); ++i) {
        sum += x[i] * x[i] / 4000;
        product *= std::cos(x[i] / std::sqrt(static_cast<double>(i + 1)));
    }
    return sum - product + 1;
}

inline double levy(X x) {
    using std::numbers::pi;
    const auto w = [&](std::size_t i) { return 1 + (x[i] - 1) / 4; };
    const std::size_t n = x.size();
    double sum = std::pow(std::sin(pi * w(0)), 2) +
                 std::pow(w(n - 1) - 1, 2) * (1 + std::pow(std::sin(2 * pi * w(n - 1)), 2));
    for (std::size_t i = 0; i + 1 < n; ++i) {
        sum += std::pow(w(i) - 1, 2) * (1 + 10 * std::pow(std::sin(pi * w(i) + 1), 2));
    }
    return sum;
}

inline double branin(X x) {
    using std::numbers::pi;
    return std::pow(x[1] - 5.1 * x[0] * x[0] / (4 * pi * pi) + 5 * x[0] / pi - 6, 2) +
           10 * (1 - 1 / (8 * pi)) * std::cos(x[0]) + 10;
}

inline double goldstein_price(X x) {
    const double a = x[0];
    const double b = x[1];
    return (1 +
            std::pow(a + b + 1, 2) * (19 - 14 * a + 3 * a * a - 14 * b + 6 * a * b + 3 * b * b)) *
           (30 + std::pow(2 * a - 3 * b, 2) *
                     (18 - 32 * a + 12 * a * a + 48 * b - 36 * a * b + 27 * b * b));
}

inline double six_hump_camel(X x) {
    const double a = x[0] * x[0];
    const double b = x[1] * x[1];
    return (4 - 2.1 * a + a * a / 3) * a + x[0] * x[1] + (4 * b - 4) * b;
}

inline double hartmann_6(X x) {
    static constexpr double a[] = {10, 3,   17,  3.5, 1.7, 8, .05, 10, 17,  .1, 8,  14,
                                   3,  3.5, 1.7, 10,  17,  8, 17,  8,  .05, 10, .1, 14};
    static constexpr double p[] = {1312, 1696, 5569, 124,  8283, 5886, 2329, 4135,
                                   8307, 3736, 1004, 9991, 2348, 1451, 3522, 2883,
                                   3047, 6650, 4047, 8828, 8732, 5743, 1091, 381};
    return hartmann(x, a, p);
}

inline double schwefel(X x) {
    double sum = 418.9828872724336 * static_cast<double>(x.size());
    for (const double v : x) {
        sum -= v * std::sin(std::sqrt(std::abs(v)));
    }
    return sum;
}

inline double michalewicz(X x) {
    double sum = 0;
    for (std::size_t i = 0; i < x.size(); ++i) {
        const double phase = static_cast<double>(i + 1) * x[i] * x[i] / std::numbers::pi;
        sum -= std::sin(x[i]) * std::pow(std::sin(phase), 20);
    }
    return sum;
}

/// All of them, in 2 to 6 dimensions.
inline std::vector<Problem> problems() {
    using std::numbers::pi;
    const std::string dixon_szego = "Dixon and Szego 1978";
    const std::string jamil_yang = "Jamil and Yang 2013";
    std::vector<Problem> all;
    const auto add = [&](const std::string& name, double (*function)(X), const Box<double>& box,
                         const std::vector<std::vector<double>>& minimisers, double minimum,
                         double tolerance, const std::string& source) {
        all.push_back({name, function, box, minimisers, minimum, tolerance, source});
    };
    // One that is defined in any dimension, with its minimiser at the same value in each.
    const auto add_scalable = [&](const std::string& name, double (*function)(X), double lower,
                                  double upper, double minimiser, double tolerance,
                                  std::initializer_list<std::size_t> dimensions) {
        for (const std::size_t n : dimensions) {
            add(name + " " + std::to_string(n), function, cube(n, lower, upper),
                {std::vector<double>(n, minimiser)}, 0, tolerance, jamil_yang);
        }
    };
    add_scalable("sphere", sphere, -5.12, 5.12, 0, 1e-15, {4, 6});
    add_scalable("Rosenbrock", rosenbrock, -5, 10, 1, 1e-15, {2, 4, 6});
    add_scalable("Rastrigin", rastrigin, -5.12, 5.12, 0, 1e-15, {2, 3, 5});
    add_scalable("Ackley", ackley, -32.768, 32.768, 0, 1e-14, {3, 6});
    add_scalable("Griewank", griewank, -600, 600, 0, 1e-15, {2, 6});
    add_scalable("Levy", levy, -10, 10, 1, 1e-15, {4, 6});
    add_scalable("Schwefel", schwefel, -500, 500, 420.968746, 1e-9, {2, 4});
    add("Branin", branin, Box<double>({-5, 0}, {10, 15}),
        {{-pi, 12.275}, {pi, 2.275}, {3 * pi, 2.475}}, 10 / (8 * pi), 1e-12, dixon_szego);
    add("Goldstein-Price", goldstein_price, cube(2, -2, 2), {{0, -1}}, 3, 1e-12, dixon_szego);
    add("six-hump camel", six_hump_camel, Box<double>({-3, -2}, {3, 2}),
        {{0.0898420136830, -0.7126564032704}, {-0.0898420136830, 0.7126564032704}},
        -1.031628453489877, 1e-12, dixon_szego);
    add(
        "Hartmann 3", [](X x) { return hartmann_3(x); }, cube(3, 0, 1),
        {{0.114614328, 0.555648852, 0.852546954}}, -3.86278214782076, 1e-12, dixon_szego);
    add("Hartmann 6", hartmann_6, cube(6, 0, 1),
        {{0.201689511, 0.150010690, 0.476873975, 0.275332431, 0.311651617, 0.657300533}},
        -3.32236801141551, 1e-12, dixon_szego);
    add(
        "Shekel 5", [](X x) { return shekel(x, 5); }, cube(4, 0, 10),
        {{4.00003715, 4.00013328, 4.00003715, 4.00013328}}, -10.1531996790582, 1e-9, dixon_szego);
    add(
        "Shekel 7", [](X x) { return shekel(x, 7); }, cube(4, 0, 10),
        {{4.00057292, 4.00068937, 3.99948971, 3.99960616}}, -10.4029405668187, 1e-9, dixon_szego);
    add(
        "Shekel 10", [](X x) { return shekel(x, 10); }, cube(4, 0, 10),
        {{4.00074653, 4.00059294, 3.99966340, 3.99950980}}, -10.5364098166920, 1e-9, dixon_szego);
    add("Michalewicz 2", michalewicz, cube(2, 0, pi), {{2.2029055, pi / 2}}, -1.80130341009856,
        1e-9, jamil_yang);
    add("Michalewicz 5", michalewicz, cube(5, 0, pi),
        {{2.202905520, 1.570796327, 1.284991571, 1.923058470, 1.720469773}}, -4.68765817908815,
        1e-9, "Molga and Smutnicki 2005");
    return all;
}

}  // namespace echosieve::test
