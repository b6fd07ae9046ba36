#include "motion/wall/fit.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <limits>
#include <utility>
#include <vector>

#include "motion/layers/layers.hpp"
#include "motion/layers/moved_layers.hpp"
#include "motion/line/gate_spectrum.hpp"
#include "motion/line/line.hpp"
#include "motion/wall/model.hpp"
#include "motion/wall/shared_beliefs.hpp"

namespace echosieve {

Eigen::ArrayXcd SeparatedWall::spectrum() const {
    return layered.fit.spectra.topRows(static_cast<Eigen::Index>(wall_layers))
        .colwise()
        .sum()
        .transpose();
}

Eigen::ArrayXXcd SeparatedWall::echoes(const LayerTimes& times) const {
    Eigen::ArrayXXcd sum = Eigen::ArrayXXcd::Zero(layered.gate.values.rows(), layered.gate.bins());
    const auto walls = static_cast<Eigen::Index>(wall_layers);
    add_moved_layers(
        sum, layered.gate, times,
        {{layered.fit.shares.begin(), layered.fit.shares.begin() + walls},
         layered.fit.spectra.topRows(walls),
         state.own.size() > 0 ? own_phasors(layered.gate, times, state.own) : Eigen::ArrayXXcd(),
         wall_layers});
    return sum;
}

Eigen::ArrayXXcd own_phasors(const GateSpectrum& gate, const LayerTimes& times,
                             const Eigen::ArrayXd& own) {
    return layer_phasors(gate, {own, times.bulk, times.weight, times.sound_speed}, {1, 0});
}

LayerFit layered_fit(const GateSpectrum& gate, const LayerTimes& times,
                     const WallModel::Layers& layers, const Eigen::ArrayXd& own) {
    LayerFit fit;
    fit.shares = layers.shares;
    fit.spectra = layers.spectra;
    fit.rest = gate.values;
    add_moved_layers(
        fit.rest, gate, times,
        {fit.shares, -fit.spectra,
         own.size() > 0 ? own_phasors(gate, times, own) : Eigen::ArrayXXcd(), layers.wall_layers});
    const double values = times.weight.sum() * static_cast<double>(gate.bins());
    fit.cost = (fit.rest.abs2().colwise() * times.weight).sum();
    fit.noise = fit.cost / values;
    fit.power = (gate.values.abs2().colwise() * times.weight).sum() / values;
    return fit;
}

GateSpectrum wall_gate(const LineHistory& line, const WallState& wall, const LayerTimes& times,
                       double half_gate) {
    return gate_spectrum(line, wall.depth, half_gate,
                         wall.sense * wall.share * times.pulse + wall.bulk * times.bulk);
}

double noise_of(const WallModel& model, const LayeredGate& layered, const WallModelOptions& options,
                double part) {
    return model.power() * std::max(part * layered.fit.residual(), options.least_noise);
}

void validate(const LikelihoodGrid& search) {
    require(!search.offsets.empty(), "number of offsets", search.offsets.size(),
            "must be at least 1");
    require(search.shares.lowest > 0 && search.shares.lowest <= search.shares.highest, "lowest",
            search.shares.lowest, "must be positive and not exceed highest");
    require(search.shares.count >= 1, "count", search.shares.count, "must be at least 1");
}

namespace {

// Read off synthetic recordings, seeds 1 to 230 of both simulators.
constexpr int passes = 2;         // of noise, shares and beliefs: each rests on the others
constexpr double unbounded = 10;  // of the start's share, where no other bound is given
constexpr double negligible_evidence = 30;  // logarithms below the top: a weight of 1e-13
// The share's posterior: its grid, over the likeliest share, a sixth either way, and the step of
// that, ln(1.176 / 0.85) / 26.
constexpr ShareGrid posterior_grid{0.85, 1.176, 27};
constexpr double posterior_step = 0.0125;
constexpr double even_parts = 12;  // what lies evenly within a step varies by its square over this
// The strains it is marginalised over, in standard deviations from their mean; the middle first,
// so that the others know what matters.
constexpr std::array<double, 4> strain_places = {-0.5, 0.5, furthest_strain, -furthest_strain};

// Even in the logarithm.
std::vector<double> shares_between(double lowest, double highest, int count) {
    std::vector<double> out;
    for (int k = 0; k < count; ++k) {
        out.push_back(lowest *
                      std::pow(highest / lowest, static_cast<double>(k) / std::max(count - 1, 1)));
    }
    return out;
}

// The search for one wall: what is likeliest so far, and the noise that goes with it.
class LikelihoodSearch {
public:
    LikelihoodSearch(WallModel& model, const WallState& start, const LikelihoodGrid& search,
                     const WallModelOptions& options, double& noise)
        : model_(model),
          start_(start),
          search_(search),
          options_(options),
          noise_(noise),
          wall_(start) {
        const ShareBounds& bounds = search.bounds;
        most_ = std::min(bounds.largest > 0 ? bounds.largest : unbounded * start.share,
                         largest_wall_share);
        least_ = std::min(bounds.smallest, most_);
    }

    [[nodiscard]] WallState run() {
        for (int pass = 0; pass < passes; ++pass) {
            settle_noise();
            best_ = model_.evidence(wall_, noise_);
            look_around();
            if (search_.priors) {
                choose(options_.tissue_powers, &WallPrior::tissue_power);
                choose(options_.wall_powers, &WallPrior::wall_power);
                choose(options_.tissue_reaches, &WallPrior::tissue_reach);
            }
        }
        take_means(posterior());
        return wall_;
    }

private:
    struct Point {
        WallState wall;
        double evidence;
    };

    [[nodiscard]] double held(double share) const { return std::clamp(share, least_, most_); }
    [[nodiscard]] std::vector<double> shares(const ShareGrid& grid, double share) const {
        return shares_between(held(grid.lowest * share), held(grid.highest * share), grid.count);
    }
    void settle_noise() {
        const double left = model_.layers(wall_, noise_).noise;
        const double floor = options_.least_noise * model_.power();
        noise_ = left > floor ? left : floor;  // whatever a NaN says
    }
    void keep_if_better(const WallState& trial) {
        const double evidence = model_.evidence(trial, noise_);
        if (evidence > best_) {
            best_ = evidence;
            wall_ = trial;
        }
    }
    // Depth and share together.
    void look_around() {
        WallState trial = wall_;
        for (const double share : shares(search_.shares, start_.share)) {
            for (const double offset : search_.offsets) {
                trial.depth = start_.depth + offset;
                trial.share = share;
                keep_if_better(trial);
            }
        }
    }
    // One of the priors.
    void choose(const std::vector<double>& values, double WallPrior::*prior) {
        for (const double value : values) {
            WallState trial = wall_;
            trial.prior.*prior = value;
            keep_if_better(trial);
        }
    }
    // The share's likelihood for several strains: from the middle outwards, uphill, and then as far
    // as it matters.
    [[nodiscard]] std::vector<Point> posterior();
    void take_means(const std::vector<Point>& points);

    WallModel& model_;
    const WallState& start_;
    const LikelihoodGrid& search_;
    const WallModelOptions& options_;
    double& noise_;
    WallState wall_;
    double best_ = 0;
    double least_ = 0;  // of the share [m]
    double most_ = 0;
};

std::vector<LikelihoodSearch::Point> LikelihoodSearch::posterior() {
    const std::vector<double> grid = shares(posterior_grid, wall_.share);
    const auto distance = [&](double share) { return std::abs(share - wall_.share); };
    const auto middle =
        std::min_element(grid.begin(), grid.end(),
                         [&](double x, double y) { return distance(x) < distance(y); }) -
        grid.begin();
    std::vector<Point> points;
    double highest = -std::numeric_limits<double>::infinity();
    for (const double place : strain_places) {
        const double strain = options_.strain_mean + place * options_.strain_spread;
        const double z = (strain - options_.strain_mean) / options_.strain_spread;
        WallState trial = wall_;
        trial.prior.strain = std::max(strain, 0.0);
        const auto add = [&](std::ptrdiff_t k) {
            trial.share = grid[static_cast<std::size_t>(k)];
            points.push_back({trial, model_.evidence(trial, noise_) - z * z / 2});
            highest = std::max(highest, points.back().evidence);
            return points.back().evidence;
        };
        const double start = add(middle);
        for (const std::ptrdiff_t by : {1, -1}) {
            double before = start;
            for (std::ptrdiff_t k = middle + by; k >= 0 && k < std::ssize(grid); k += by) {
                const double now = add(k);
                if (!(now > std::exchange(before, now) || now > highest - negligible_evidence)) {
                    break;
                }
            }
        }
    }
    return points;
}

void LikelihoodSearch::take_means(const std::vector<Point>& points) {
    const auto top =
        std::max_element(points.begin(), points.end(),
                         [](const Point& x, const Point& y) { return x.evidence < y.evidence; });
    double sum = 0, mean = 0, square = 0, strain = 0;
    for (const Point& point : points) {
        const double weight = std::exp(point.evidence - top->evidence);
        sum += weight;
        mean += weight * point.wall.share;
        square += weight * point.wall.share * point.wall.share;
        strain += weight * point.wall.prior.strain;
    }
    if (!(sum > 0)) {
        return;  // nothing in the gate
    }
    const double spacing = posterior_step * wall_.share;
    wall_.share = mean / sum;
    wall_.prior.strain = strain / sum;
    wall_.share_deviation = std::sqrt(std::max(square / sum - wall_.share * wall_.share, 0.0) +
                                      spacing * spacing / even_parts);
}

}  // namespace

WallState likeliest_wall(WallModel& model, const WallState& start, const LikelihoodGrid& search,
                         const WallModelOptions& options, double& noise) {
    validate(search);
    return LikelihoodSearch(model, start, search, options, noise).run();
}

}  // namespace echosieve
