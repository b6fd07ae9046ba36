#include "echosieve/kernels/detail/echo_swarm.hpp"

#include <algorithm>
#include <bit>
#include <cmath>
#include <numbers>

#include "echo_swarm_kernel.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/random.hpp"

namespace echosieve {

namespace {

// exp(-8) = 3e-4 of the peak.
constexpr double nepers = 8;
// Largest a d^2: exp of twice that is within the range of float, with room for sums.
constexpr double largest_exponent = 38;

using kernels::EchoSwarmTask;
using kernels::particles_together;

void check_range(const char* name, const EchoSwarmBounds::Range& range, double least, double most) {
    require(range.lower >= least && range.upper <= most && range.lower <= range.upper, name,
            detail::concatenate(range.lower, " to ", range.upper),
            detail::concatenate("must be a range within ", least, " to ", most));
}

// A gate's length, checked before anything is allocated for it.
std::size_t checked_length(std::span<const double> weights) {
    require(weights.size() >= 1 && weights.size() <= EchoSwarm::most_samples, "number of weights",
            weights.size(), detail::concatenate("must lie in 1 to ", EchoSwarm::most_samples));
    return weights.size();
}

std::size_t in_groups(std::size_t particles) {
    return (particles + particles_together - 1) / particles_together * particles_together;
}

}  // namespace

void validate(const EchoSwarmOptions& options) {
    require(options.particles >= 1 && options.particles <= kernels::most_particles, "particles",
            options.particles, detail::concatenate("must lie in 1 to ", kernels::most_particles));
    require(options.iterations >= 1, "iterations", options.iterations, "must be one or more");
    require(options.inertia >= 0 && options.inertia < 1, "inertia", options.inertia,
            "must lie in [0, 1)");
    require(options.own_pull >= 0 && options.own_pull < 4, "own_pull", options.own_pull,
            "must lie in [0, 4)");
    require(options.best_pull >= 0 && options.best_pull < 4, "best_pull", options.best_pull,
            "must lie in [0, 4)");
    require(options.local_part >= 0 && options.local_part <= 1, "local_part", options.local_part,
            "must lie in [0, 1]");
}

EchoSwarm::EchoSwarm(std::span<const double> weights, const EchoSwarmBounds& bounds,
                     const EchoSwarmOptions& options, InstructionSet set)
    : count_(checked_length(weights)),
      bounds_(bounds),
      options_((validate(options), options)),
      set_((validate(set), set)),
      stored_(in_groups(options.particles)),
      samples_(9 * count_),
      numbers_(21 * stored_ + 2 * particles_together),
      random_(4 * stored_) {
    check_range("root_decay", bounds.root_decay, 0.01, 1);
    require(bounds.root_decay.upper <= 4 * bounds.root_decay.lower, "root_decay.upper",
            bounds.root_decay.upper, "must be at most 4 times root_decay.lower");
    check_range("rotation", bounds.rotation, -std::numbers::pi, std::numbers::pi);
    const double outside = 5 / bounds.root_decay.upper;
    check_range("arrival", bounds.arrival, -outside, static_cast<double>(count_) - 1 + outside);
    for (std::size_t n = 0; n < count_; ++n) {
        require(weights[n] >= 0 && weights[n] <= 1, detail::concatenate("weight ", n), weights[n],
                "must lie in [0, 1]");
        samples_[7 * count_ + n] = static_cast<float>(weights[n]);
    }
    seed(0);
}

void EchoSwarm::seed(std::uint64_t seed, std::uint64_t stream) noexcept {
    RandomStream words(seed, stream);
    for (std::size_t i = 0; i < options_.particles; ++i) {
        for (std::size_t k = 0; k < 4; ++k) {
            random_[k * stored_ + i] = words();
        }
        random_[i] |= 1U;  // a state of zeros would stay one
    }
}

// The kernel's generators, one number of one of them.
std::uint32_t EchoSwarm::draw(std::size_t particle) noexcept {
    const auto s = [&](std::size_t k) -> std::uint32_t& { return random_[k * stored_ + particle]; };
    const std::uint32_t out = std::rotl(s(0) + s(3), 7) + s(0);
    const std::uint32_t t = s(1) << 9;
    s(2) ^= s(0);
    s(3) ^= s(1);
    s(1) ^= s(2);
    s(0) ^= s(3);
    s(2) ^= t;
    s(3) = std::rotl(s(3), 11);
    return out;
}

EchoSwarmTask EchoSwarm::task() noexcept {
    const auto from = [](const EchoSwarmBounds::Range& r) { return static_cast<float>(r.lower); };
    const auto width = [](const EchoSwarmBounds::Range& r) {
        return static_cast<float>(r.upper - r.lower);
    };
    const double far = std::sqrt(largest_exponent) / bounds_.root_decay.upper;
    float* const x = numbers_.data();
    return {.real = samples_.data() + count_,
            .imag = samples_.data() + 4 * count_,
            .weights = samples_.data() + 7 * count_,
            .count = static_cast<std::int32_t>(count_),
            .arrival = from(bounds_.arrival),
            .arrival_width = width(bounds_.arrival),
            .rotation = from(bounds_.rotation),
            .rotation_width = width(bounds_.rotation),
            .root_decay = from(bounds_.root_decay),
            .root_decay_width = width(bounds_.root_decay),
            .reach = static_cast<float>(std::sqrt(nepers)),
            .far = static_cast<float>(far),
            .widest = static_cast<float>(2 * far - 2),
            .inertia = static_cast<float>(options_.inertia),
            .own_pull = static_cast<float>(options_.own_pull),
            .best_pull = static_cast<float>(options_.best_pull),
            .particles = options_.particles,
            .stored = stored_,
            .iterations = options_.iterations,
            .local = static_cast<std::size_t>(options_.local_part *
                                              static_cast<double>(options_.iterations)),
            .x = x,
            .v = x + 3 * stored_,
            .own = x + 6 * stored_,
            .value = x + 9 * stored_,
            .most = x + 10 * stored_ + particles_together,
            .work = x + 11 * stored_ + 2 * particles_together,
            .random = random_.data(),
            .best = best_.data()};
}

// The residual in float, its energy made 1; returns the energy that it had.
double EchoSwarm::load(std::span<const double> real, std::span<const double> imag) {
    if (real.size() != count_ || imag.size() != count_) {
        require(false, "samples", detail::concatenate(real.size(), ", ", imag.size()),
                detail::concatenate("must be ", count_, " of each part"));
    }
    double energy = 0;
    for (std::size_t n = 0; n < count_; ++n) {
        energy += real[n] * real[n] + imag[n] * imag[n];
    }
    if (!is_finite(energy)) {
        require(false, "energy", energy,
                "must be finite: NaN or infinity among the samples, or scale them down");
    }
    const double scale = energy > 0 ? 1 / std::sqrt(energy) : 0;
    for (std::size_t n = 0; n < count_; ++n) {
        samples_[count_ + n] = static_cast<float>(scale * real[n]);
        samples_[4 * count_ + n] = static_cast<float>(scale * imag[n]);
    }
    return energy;
}

void EchoSwarm::place_at_random() noexcept {
    float* const x = numbers_.data();
    // Parts that each range is cut into, and which of them is the particle's.
    const std::size_t parts[3] = {options_.particles, 4, 3};
    for (std::size_t i = 0; i < options_.particles; ++i) {
        const std::size_t part[3] = {i, 2 * (i & 1) + (i >> 1 & 1), i % 3};
        for (std::size_t k = 0; k < 3; ++k) {
            const float uniform = static_cast<float>(draw(i) >> 8) * 0x1p-24F;
            x[k * stored_ + i] = std::min(
                1.0F, (static_cast<float>(part[k]) + uniform) / static_cast<float>(parts[k]));
        }
    }
    std::fill_n(x + 3 * stored_, 3 * stored_, 0.0F);
    std::copy_n(x, 3 * stored_, x + 6 * stored_);
    std::fill_n(x + 10 * stored_, stored_ + 2 * particles_together, -1.0F);
}

EchoSwarmPoint EchoSwarm::search(std::span<const double> real, std::span<const double> imag) {
    const double energy = load(real, imag);
    place_at_random();
    best_ = {0, 0, 0, -1};
    kernels::run_echo_swarm_of(set_)(task());
    const auto place = [](const EchoSwarmBounds::Range& r, float unit) {
        return std::clamp(r.lower + static_cast<double>(unit) * (r.upper - r.lower), r.lower,
                          r.upper);
    };
    return {place(bounds_.arrival, best_[0]), place(bounds_.rotation, best_[1]),
            place(bounds_.root_decay, best_[2]), energy * static_cast<double>(best_[3])};
}

void EchoSwarm::explained(std::span<const double> real, std::span<const double> imag,
                          std::span<const EchoSwarmPoint> points, std::span<double> out) {
    if (points.size() > options_.particles || points.size() != out.size() || points.empty()) {
        require(false, "points and numbers out",
                detail::concatenate(points.size(), ", ", out.size()),
                detail::concatenate("must be 1 to ", options_.particles, ", and alike"));
    }
    for (const EchoSwarmPoint& p : points) {
        if (std::isnan(p.arrival) || std::isnan(p.rotation) || std::isnan(p.root_decay)) {
            require(false, "point", "NaN",
                    "must have an arrival, a rotation and a root of the decay");
        }
    }
    const double energy = load(real, imag);
    float* const x = numbers_.data();
    const auto unit = [](const EchoSwarmBounds::Range& r, double at) {
        const double width = r.upper - r.lower;
        return static_cast<float>(width > 0 ? std::clamp((at - r.lower) / width, 0.0, 1.0) : 0.0);
    };
    for (std::size_t i = 0; i < stored_; ++i) {
        const EchoSwarmPoint& p = points[std::min(i, points.size() - 1)];
        x[i] = unit(bounds_.arrival, p.arrival);
        x[stored_ + i] = unit(bounds_.rotation, p.rotation);
        x[2 * stored_ + i] = unit(bounds_.root_decay, p.root_decay);
    }
    kernels::evaluate_echo_swarm_of(set_)(task());
    for (std::size_t i = 0; i < points.size(); ++i) {
        out[i] = energy * static_cast<double>(x[9 * stored_ + i]);
    }
}

}  // namespace echosieve
