#include "motion/wall/fit.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <utility>
#include <vector>

#include "motion/layers/layers.hpp"
#include "motion/layers/moved_layers.hpp"
#include "motion/wall/model.hpp"

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

namespace {

// Candidates for one of the priors: the most likely is kept.
template <class Set>
void choose(WallModel& model, WallState& wall, double noise, double& best,
            const std::vector<double>& values, Set set) {
    for (const double value : values) {
        WallState trial = wall;
        set(trial.prior, value);
        const double evidence = model.evidence(trial, noise);
        if (evidence > best) {
            best = evidence;
            wall = trial;
        }
    }
}

}  // namespace

WallState likeliest_wall(WallModel& model, const WallState& start, const LikelihoodGrid& search,
                         const WallModelOptions& options, double& noise) {
    WallState wall = start;
    const auto shares = [&](double lowest, double highest, int count) {
        std::vector<double> out;
        for (int k = 0; k < count; ++k) {
            out.push_back(lowest * std::pow(highest / lowest,
                                            static_cast<double>(k) / std::max(count - 1, 1)));
        }
        return out;
    };
    const auto settle_noise = [&] {
        const double left = model.layers(wall, noise).noise;
        const double floor = options.least_noise * model.power();
        noise = left > floor ? left : floor;  // whatever a NaN says
    };
    validate(search);
    const double most = std::min(start.largest_share > 0 ? start.largest_share : 10 * start.share,
                                 largest_wall_share);
    const double least = std::min(start.smallest_share, most);
    const double lowest = std::clamp(search.lowest_ratio * start.share, least, most);
    const double highest = std::clamp(search.highest_ratio * start.share, least, most);
    for (int pass = 0; pass < 2; ++pass) {
        settle_noise();
        double best = model.evidence(wall, noise);
        const WallState from = wall;
        for (const double share : shares(lowest, highest, search.ratios)) {
            for (const double offset : search.offsets) {
                WallState trial = from;
                trial.depth = start.depth + offset;
                trial.share = share;
                const double evidence = model.evidence(trial, noise);
                if (evidence > best) {
                    best = evidence;
                    wall = trial;
                }
            }
        }
        if (search.priors) {
            choose(model, wall, noise, best, options.tissue_powers,
                   [](WallPrior& p, double x) { p.tissue_power = x; });
            choose(model, wall, noise, best, options.wall_powers,
                   [](WallPrior& p, double x) { p.wall_power = x; });
            choose(model, wall, noise, best, options.tissue_reaches,
                   [](WallPrior& p, double x) { p.tissue_reach = x; });
        }
    }
    // The share's posterior, strain marginalised.
    struct Point {
        WallState wall;
        double evidence;
    };
    std::vector<Point> points;
    constexpr double negligible = 30;  // logarithms below the top: a weight of 1e-13
    const std::vector<double> strains = {options.strain_mean - 0.5 * options.strain_spread,
                                         options.strain_mean + 0.5 * options.strain_spread,
                                         options.strain_mean + 1.5 * options.strain_spread,
                                         options.strain_mean - 1.5 * options.strain_spread};
    const std::vector<double> grid = shares(std::clamp(0.85 * wall.share, least, most),
                                            std::clamp(1.176 * wall.share, least, most), 27);
    const auto middle = static_cast<std::size_t>(
        std::min_element(grid.begin(), grid.end(),
                         [&](double x, double y) {
                             return std::abs(x - wall.share) < std::abs(y - wall.share);
                         }) -
        grid.begin());
    double highest_evidence = -std::numeric_limits<double>::infinity();
    for (const double strain : strains) {
        const double z = (strain - options.strain_mean) / options.strain_spread;
        const auto add = [&](double share) {
            WallState trial = wall;
            trial.prior.strain = std::max(strain, 0.0);
            trial.share = share;
            points.push_back({trial, model.evidence(trial, noise) - z * z / 2});
            highest_evidence = std::max(highest_evidence, points.back().evidence);
            return points.back().evidence;
        };
        // From the middle outwards: uphill, and then as far as it matters.
        const auto matters = [&](double now, double before) {
            return now > before || now > highest_evidence - negligible;
        };
        const double start_evidence = add(grid[middle]);
        double before = start_evidence;
        for (std::size_t k = middle + 1; k < grid.size(); ++k) {
            const double now = add(grid[k]);
            if (!matters(now, std::exchange(before, now))) {
                break;
            }
        }
        before = start_evidence;
        for (std::size_t k = middle; k-- > 0;) {
            const double now = add(grid[k]);
            if (!matters(now, std::exchange(before, now))) {
                break;
            }
        }
    }
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
        return wall;  // nothing in the gate
    }
    const double spacing = 0.0125 * wall.share;  // between the points
    wall.share = mean / sum;
    wall.prior.strain = strain / sum;
    wall.share_deviation =
        std::sqrt(std::max(square / sum - wall.share * wall.share, 0.0) + spacing * spacing / 12);
    return wall;
}

}  // namespace echosieve

namespace echosieve {

void validate(const LikelihoodGrid& search) {
    require(!search.offsets.empty(), "number of offsets", search.offsets.size(),
            "must be at least 1");
    require(search.lowest_ratio > 0 && search.lowest_ratio <= search.highest_ratio, "lowest_ratio",
            search.lowest_ratio, "must be positive and not exceed highest_ratio");
    require(search.ratios >= 1, "ratios", search.ratios, "must be at least 1");
}

double noise_of(const WallModel& model, const LayeredGate& layered, const WallModelOptions& options,
                double part) {
    return model.power() * std::max(part * layered.fit.residual(), options.least_noise);
}

}  // namespace echosieve
