#include "textbook_pursuit.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

// Compiled with -O3 -march=native -ffast-math: the textbook gets all that a compiler can do for it.

namespace textbook {

namespace {

using Point = std::array<double, 3>;

double decay(double bandwidth) {
    const double root = std::numbers::pi * bandwidth;
    return root * root / (4 * 0.3 * std::numbers::ln10);
}

// Constriction coefficients of Clerc and Kennedy 2002.
constexpr double inertia = 0.7298;
constexpr double pull = 1.49618;

// Uniform numbers in [0, 1): SplitMix64 of Steele, Lea and Flood 2014.
class Random {
public:
    explicit Random(std::uint64_t seed) : state_(seed) {}
    double operator()() {
        std::uint64_t z = (state_ += 0x9E3779B97F4A7C15U);
        z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9U;
        z = (z ^ (z >> 27)) * 0x94D049BB133111EBU;
        return static_cast<double>((z ^ (z >> 31)) >> 11) * 0x1.0p-53;
    }

private:
    std::uint64_t state_;
};

// The sine as a cosine: of a sine and a cosine of one angle g++ makes a call of sincos, which it
// can't vectorise, and the search would take nine times as long.
constexpr double quarter = std::numbers::pi / 2;

// Projection of the residual on the plane of the cosine and the sine under one envelope.
struct Projection {
    double cosine = 0;
    double sine = 0;
    double captured = 0;
};

Projection project(const Samples& samples, const double* residual, const Point& p) {
    const double alpha = decay(p[2]);
    const double omega = 2 * std::numbers::pi * p[1];
    const double step = 1 / samples.rate;
    const double first = samples.start - p[0];
    double yc = 0, ys = 0, cc = 0, ss = 0, cs = 0;
    for (std::size_t n = 0; n < samples.count; ++n) {
        const double u = first + static_cast<double>(n) * step;
        const double envelope = std::exp(-alpha * u * u);
        const double c = envelope * std::cos(omega * u);
        const double s = envelope * std::cos(omega * u - quarter);
        yc += residual[n] * c;
        ys += residual[n] * s;
        cc += c * c;
        ss += s * s;
        cs += c * s;
    }
    const double determinant = cc * ss - cs * cs;
    if (!(determinant > 1e-12 * cc * ss)) {
        return {};
    }
    Projection out;
    out.cosine = (ss * yc - cs * ys) / determinant;
    out.sine = (cc * ys - cs * yc) / determinant;
    out.captured = out.cosine * yc + out.sine * ys;
    return out;
}

void subtract(const Samples& samples, double* residual, const Point& p, const Projection& a) {
    const double alpha = decay(p[2]);
    const double omega = 2 * std::numbers::pi * p[1];
    const double step = 1 / samples.rate;
    const double first = samples.start - p[0];
    for (std::size_t n = 0; n < samples.count; ++n) {
        const double u = first + static_cast<double>(n) * step;
        residual[n] -= std::exp(-alpha * u * u) *
                       (a.cosine * std::cos(omega * u) + a.sine * std::sin(omega * u));
    }
}

Point search(const Samples& samples, const double* residual, const Bounds& bounds,
             const Swarm& swarm, Random& random) {
    struct Particle {
        Point x{}, v{}, best{};
        double most = -1;
    };
    std::vector<Particle> particles(static_cast<std::size_t>(swarm.particles));
    Point best{};
    double most = -1;
    for (Particle& particle : particles) {
        for (std::size_t k = 0; k < 3; ++k) {
            particle.x[k] = bounds.lower[k] + random() * (bounds.upper[k] - bounds.lower[k]);
        }
    }
    for (int iteration = 0; iteration < swarm.iterations; ++iteration) {
        for (Particle& particle : particles) {
            const double captured = project(samples, residual, particle.x).captured;
            if (captured > particle.most) {
                particle.most = captured;
                particle.best = particle.x;
            }
            if (captured > most) {
                most = captured;
                best = particle.x;
            }
        }
        for (Particle& particle : particles) {
            for (std::size_t k = 0; k < 3; ++k) {
                particle.v[k] = inertia * particle.v[k] +
                                pull * random() * (particle.best[k] - particle.x[k]) +
                                pull * random() * (best[k] - particle.x[k]);
                particle.x[k] += particle.v[k];
                if (particle.x[k] < bounds.lower[k] || particle.x[k] > bounds.upper[k]) {
                    particle.x[k] =
                        particle.x[k] < bounds.lower[k] ? bounds.lower[k] : bounds.upper[k];
                    particle.v[k] = 0;
                }
            }
        }
    }
    return best;
}

double energy(const std::vector<double>& x) {
    double sum = 0;
    for (const double value : x) {
        sum += value * value;
    }
    return sum;
}

}  // namespace

Point search(const Samples& residual, const Bounds& bounds, const Swarm& swarm,
             std::uint64_t seed) {
    Random random(seed);
    return search(residual, residual.values, bounds, swarm, random);
}

double captured(const Samples& residual, const Point& place) {
    return project(residual, residual.values, place).captured;
}

void subtract(const Samples& residual, const Point& place, double* left) {
    const Projection a = project(residual, residual.values, place);
    std::copy_n(residual.values, left == residual.values ? 0 : residual.count, left);
    subtract(residual, left, place, a);
}

Pursuit pursue(const Samples& samples, const Bounds& bounds, std::size_t echoes, const Swarm& swarm,
               std::uint64_t seed) {
    Random random(seed);
    std::vector<double> residual(samples.values, samples.values + samples.count);
    Pursuit out;
    for (std::size_t k = 0; k < echoes; ++k) {
        const Point p = search(samples, residual.data(), bounds, swarm, random);
        const Projection a = project(samples, residual.data(), p);
        subtract(samples, residual.data(), p, a);
        // A cos x + B sin x = |a| cos(x + phase)
        out.echoes.push_back(
            {p[0], p[1], p[2], std::hypot(a.cosine, a.sine), std::atan2(-a.sine, a.cosine)});
    }
    out.left = energy(residual);
    return out;
}

double residual_energy(const Samples& samples, const std::vector<Echo>& echoes) {
    std::vector<double> residual(samples.values, samples.values + samples.count);
    for (const Echo& echo : echoes) {
        subtract(
            samples, residual.data(), {echo.arrival, echo.frequency, echo.bandwidth},
            {echo.amplitude * std::cos(echo.phase), -echo.amplitude * std::sin(echo.phase), 0});
    }
    return energy(residual);
}

}  // namespace textbook
