#include "motion/wall/tissue_lag.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <limits>
#include <vector>

#include "motion/layers/layer_fit.hpp"
#include "motion/layers/layers.hpp"
#include "motion/wall/fit.hpp"
#include "motion/wall/model.hpp"

namespace echosieve {

namespace {

// By how much later than p [s] the tissue pulsates: 0 unless that explains it much better.
double tissue_lag(const LineHistory& line, const LayerTimes& times,
                  const std::vector<LayeredGate>& gates, const TissueLagOptions& options) {
    const auto misfit = [&](double lag) {
        LayerTimes late = times;
        late.pulse = delayed(times.pulse, lag * line.settings.frame_rate);
        double sum = 0;
        double total = 0;
        for (const LayeredGate& layered : gates) {
            const LayerFit fit = fit_layers(layered.gate, late, layered.fit.shares,
                                            {.iterations = 3, .rest = false});
            sum += layered.trust * std::log(std::max(fit.cost, 1e-300));
            total += layered.trust;
        }
        return sum / std::max(total, 1e-300);
    };
    const double rest = misfit(0);
    double best = rest;
    double lag = 0;
    const auto improve = [&](double from, double to, double by) {
        const double at = lag;
        for (double l = at + from; l <= at + to + by / 2; l += by) {
            const double now = misfit(l);
            if (now < best) {
                best = now;
                lag = l;
            }
        }
    };
    improve(-12e-3, options.largest_lag, 12e-3);
    improve(-6e-3, 6e-3, 6e-3);
    improve(-3e-3, 3e-3, 3e-3);
    return rest - best > options.least_gain ? lag : 0;
}

}  // namespace

bool settle_tissue_lag(const LineHistory& line, const SeparatedWall& near, const SeparatedWall& far,
                       LayerTimes& times, std::vector<LayeredGate>& gates,
                       const TissueLagOptions& options, const WallModelOptions& model_options) {
    validate(options);
    const double rate = line.settings.frame_rate;
    const LayerTimes before = times;
    const auto with = [&](double lag, double mixed) {
        LayerTimes out = before;
        out.pulse = delayed(before.pulse, -lag * rate);
        out.bulk = before.bulk - mixed * before.pulse;
        return out;
    };
    const auto likelihood = [&](double lag, double mixed) {
        const LayerTimes trial = with(lag, mixed);
        double sum = 0;
        for (const SeparatedWall* wall : {&near, &far}) {
            WallState state = wall->state;
            const double start = held_share(state.sense * wall->layered.fit.shares[0].pulse);
            state.bulk = wall->layered.fit.shares[0].bulk;
            state.share = start;
            WallModel model(wall->layered.gate, trial, state, largest_layer(state, 2.5),
                            line.settings, model_options);
            const double noise = noise_of(model, wall->layered, model_options);
            double most = -std::numeric_limits<double>::infinity();
            for (const double ratio : {0.5, 0.64, 0.8, 1.0, 1.25, 1.6, 2.0, 2.5}) {
                state.share = ratio * start;
                most = std::max(most, model.evidence(state, noise));
            }
            sum += most;
        }
        return sum;
    };
    const double rest = likelihood(0, 0);
    double best = rest;
    double lag = 0;
    double mixed = 0;
    const auto improve = [&](double from, double to, double by, double by_mixed, int mixes) {
        const double at = lag;
        const double at_mixed = mixed;
        for (double l = at + from; l <= at + to + by / 2; l += by) {
            for (int k = -mixes; k <= mixes; ++k) {
                const double m = at_mixed + k * by_mixed;
                const double now = likelihood(l, m);
                if (now > best) {
                    best = now;
                    lag = l;
                    mixed = m;
                }
            }
        }
    };
    improve(-8e-3, options.largest_lag, 8e-3, 0, 0);
    if (best - rest < options.least_evidence) {
        lag = 0;
    } else {
        const double step = line.half_wavelength() / 8;
        improve(0, 0, 1, step, 5);
        improve(-9e-3, 9e-3, 3e-3, step / 2, 2);
        improve(-2e-3, 2e-3, 1e-3, step / 4, 1);
    }
    const double behind = lag + tissue_lag(line, before, gates, options);
    if (lag == 0 && behind == 0) {
        return false;
    }
    times = with(lag, mixed);
    times.lag = behind * rate;
    for (LayeredGate& layered : gates) {
        layered.late = true;
        for (LayerShare& share : layered.fit.shares) {
            share.pulse += mixed * share.bulk;
        }
    }
    return true;
}

}  // namespace echosieve
