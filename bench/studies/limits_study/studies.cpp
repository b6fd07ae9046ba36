#include "studies.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <cstdint>
#include <numbers>
#include <optional>
#include <span>
#include <variant>
#include <vector>

#include "echosieve/atoms/echo_limits.hpp"
#include "echosieve/atoms/sampling.hpp"
#include "echosieve/core/random.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/correlate/delay.hpp"
#include "echosieve/correlate/delay_limits.hpp"
#include "echosieve/pursuit/joint_fit.hpp"
#include "echosieve/pursuit/pursue.hpp"
#include "echosieve/pursuit/shared_shape_fit.hpp"
#include "support/parallel.hpp"

namespace limits_study {

namespace {

using namespace echosieve;
using Plain = Echo<Gabor<double>>;
using Chirped = Echo<ChirpedGabor<double>>;

constexpr double rate = 125e6;
constexpr double centre = 4e6;
constexpr double bandwidth = 1e6;
const SamplingGrid grid{0, rate, 1000, 0};  // 8 us
const Gate gate{2e-6, 6e-6};
// Wide: it hardly narrows what noise can do to the estimates at 0 dB.
const GaborBox wide{gate, {2.5e6, 5.5e6}, {0.5e6, 2e6}};

SampledNoise noise_at(double decibels) {
    return {std::pow(10.0, -decibels / 20), rate};
}

template <class E>
std::vector<double> noisy(const std::vector<E>& echoes, double deviation, RandomStream& stream,
                          bool single_precision) {
    std::vector<double> samples(grid.count);
    for (double& x : samples) {
        x = deviation * stream.normal();
    }
    for (const E& echo : echoes) {
        add(echo, grid, std::span(samples));
    }
    if (single_precision) {
        for (double& x : samples) {
            x = static_cast<double>(static_cast<float>(x));
        }
    }
    return samples;
}

// Errors, their bounds and their reported deviations, one a trial; NaN where there is none.
struct Errors {
    const char* name = "";
    std::vector<double> error, bound, reported;

    Errors(const char* what, std::size_t trials)
        : name(what), error(trials, std::nan("")), bound(trials, 1), reported(trials, 1) {}

    void set(std::size_t trial, double by, double least, double said) {
        error[trial] = by;
        bound[trial] = least;
        reported[trial] = said;
    }
    [[nodiscard]] Scatter scatter() const {
        Scatter out;
        out.name = name;
        double count = 0, square = 0, fourth = 0;
        for (std::size_t k = 0; k < error.size(); ++k) {
            if (!std::isfinite(error[k])) {
                continue;
            }
            const double z = error[k] / bound[k];
            const double said = std::abs(error[k]) / reported[k];
            ++count;
            out.bound += bound[k];
            out.bias += z;
            square += z * z;
            fourth += z * z * z * z;
            out.within_68 += said <= 1 ? 1 : 0;
            out.within_95 += said <= 1.959964 ? 1 : 0;
        }
        out.bound /= count;
        out.bias /= count;
        square /= count;
        out.within_68 /= count;
        out.within_95 /= count;
        out.ratio = std::sqrt(square);
        // Of the mean square, from the fourth moment; half of it of the root.
        const double spread = std::sqrt(std::max(fourth / count - square * square, 0.0) / count);
        out.interval = 1.96 * spread / (2 * out.ratio);
        return out;
    }
};

StudyPoint point(const StudyOptions& options, double decibels, double separation,
                 const std::vector<Errors>& errors, const std::vector<char>& outlier) {
    StudyPoint out{decibels, separation, options.trials, 0, {}};
    out.outliers = static_cast<std::size_t>(std::count(outlier.begin(), outlier.end(), 1));
    for (const Errors& e : errors) {
        out.scatters.push_back(e.scatter());
    }
    return out;
}

// A pursuit of one echo again and again in the same memory.
template <Real R>
struct Finder {
    using Source = EchoSource<R, GaussNewton>;
    Source source{grid, wide, GaussNewton{}, 0};
    PursuitEngine<Source> engine;
    typename PursuitEngine<Source>::Result result;
    std::vector<R> buffer;

    std::optional<Gabor<double>> find(const std::vector<double>& samples) {
        buffer.assign(samples.begin(), samples.end());
        engine.run(buffer, source, Orthogonal{1}, {}, result);
        if (!result.usable()) {
            return std::nullopt;
        }
        const Gabor<R>& atom = result.atoms[0].atom;
        return Gabor<double>{double{atom.arrival}, double{atom.centre_frequency},
                             double{atom.bandwidth}};
    }
};

// The same in double or in float.
class EchoFinder {
public:
    explicit EchoFinder(bool single_precision) {
        if (single_precision) {
            finder_.emplace<Finder<float>>();
        }
    }

    // Nothing if there is none.
    std::optional<Gabor<double>> operator()(const std::vector<double>& samples) {
        return std::visit([&](auto& finder) { return finder.find(samples); }, finder_);
    }

private:
    std::variant<Finder<double>, Finder<float>> finder_;
};

// Calls work(finder, trial) for all trials, in pieces that share a finder.
template <class Work>
void for_each_trial(const StudyOptions& options, const char* what, Work work) {
    constexpr std::size_t piece = 125;
    const std::size_t pieces = (options.trials + piece - 1) / piece;
    examples::for_each_in_parallel(pieces, options.threads, what, [&](std::size_t n) {
        EchoFinder finder(options.single_precision);
        for (std::size_t t = n * piece; t < std::min(options.trials, (n + 1) * piece); ++t) {
            work(finder, t);
        }
    });
}

double turned(double angle) {
    return std::remainder(angle, 2 * std::numbers::pi);
}

template <class A>
void study_one(const std::vector<Echo<A>>& truth, const AtomBox<A>& box, const FreeParameters& free,
               double decibels, const StudyOptions& options, std::vector<Errors>& errors,
               std::vector<char>& outlier) {
    const SampledNoise noise = noise_at(decibels);
    const EchoLimit limit = echo_limits(std::span<const Echo<A>>(truth), free, noise)[0];
    for_each_trial(options, "one echo", [&](EchoFinder& find, std::size_t t) {
        RandomStream stream(101, t);
        const auto samples = noisy(truth, noise.deviation, stream, options.single_precision);
        const auto atom = find(samples);
        if (!atom) {
            outlier[t] = 1;
            return;
        }
        A start{};
        start.arrival = atom->arrival;
        start.centre_frequency = atom->centre_frequency;
        start.bandwidth = atom->bandwidth;

        const auto fit =
            fit_echoes(samples, grid, std::vector<A>{start}, std::vector<AtomBox<A>>{box});
        const Echo<A>& echo = fit.echoes[0];
        const double late = echo.atom.arrival - truth[0].atom.arrival;
        if (std::abs(late) > 0.5e-6) {  // noise taken for the echo
            outlier[t] = 1;
            return;
        }
        const auto& c = fit.covariance;
        errors[0].set(t, late, limit.arrival, c.arrival(0));
        errors[1].set(t, echo.atom.centre_frequency - truth[0].atom.centre_frequency,
                      limit.centre_frequency, c.centre_frequency(0));
        errors[2].set(t, echo.atom.bandwidth - truth[0].atom.bandwidth,
                      limit.relative_bandwidth * truth[0].atom.bandwidth, c.bandwidth(0));
        errors[3].set(t, std::abs(echo.amplitude) - std::abs(truth[0].amplitude),
                      limit.relative_amplitude * std::abs(truth[0].amplitude), c.magnitude(0));
        errors[4].set(t, turned(std::arg(echo.amplitude) - std::arg(truth[0].amplitude)),
                      limit.phase, c.phase(0));
        if (errors.size() > 5) {
            errors[5].set(t, echo.atom.chirp_rate - truth[0].atom.chirp_rate, limit.chirp_rate,
                          c.chirp_rate(0));
        }
    });
}

std::vector<Plain> pair(double separation, double phase) {
    return {{{3.5e-6, centre, bandwidth}, {1, 0}},
            {{3.5e-6 + separation, centre, bandwidth}, std::polar(1.0, phase)}};
}

GaborBox known_shape() {
    return {{3e-6, 6.5e-6}, {centre, centre}, {bandwidth, bandwidth}};
}

}  // namespace

StudyPoint one_echo(double decibels, bool chirped, const StudyOptions& options) {
    std::vector<Errors> errors;
    for (const char* name : {"arrival", "centre frequency", "bandwidth", "amplitude", "phase"}) {
        errors.emplace_back(name, options.trials);
    }
    std::vector<char> outlier(options.trials, 0);
    const std::complex<double> amplitude = std::polar(1.0, 0.7);
    if (chirped) {
        errors.emplace_back("chirp rate", options.trials);
        const std::vector<Chirped> truth{{{4e-6, centre, bandwidth, 4e11}, amplitude}};
        const ChirpedGaborBox box{wide.arrival, wide.centre_frequency, {0.3e6, 3e6}, {-4e12, 4e12}};
        study_one<ChirpedGabor<double>>(truth, box, {.chirp_rate = true}, decibels, options, errors,
                                        outlier);
    } else {
        const std::vector<Plain> truth{{{4e-6, centre, bandwidth}, amplitude}};
        study_one<Gabor<double>>(truth, wide, {}, decibels, options, errors, outlier);
    }
    return point(options, decibels, 0, errors, outlier);
}

StudyPoint two_frames(double decibels, const StudyOptions& options) {
    const SampledNoise noise = noise_at(decibels);
    const std::vector<Plain> before{{{4e-6, centre, bandwidth}, std::polar(1.0, 0.7)}};
    std::vector<Plain> after = before;
    const double truth = 2 * 12e-6 / 1540;  // it moved by 12 um
    after[0].atom.arrival += truth;
    const double bound = common_delay_limit(std::span<const Plain>(before), noise);
    std::vector<Errors> errors{{"delay", options.trials}};
    std::vector<char> outlier(options.trials, 0);
    for_each_trial(options, "two frames", [&](EchoFinder& find, std::size_t t) {
        RandomStream stream(102, t);
        std::array<Plain, 2> found;
        double deviation = 0;
        for (std::size_t k = 0; k < 2; ++k) {
            const auto samples =
                noisy(k == 0 ? before : after, noise.deviation, stream, options.single_precision);

            const auto fit =
                fit_echoes(samples, grid, std::vector{find(samples).value()}, std::vector{wide});
            found[k] = fit.echoes[0];
            deviation += fit.noise_variance / 2;
        }
        const Delay delay = delay_between(found[0], found[1]);
        if (!delay.usable() || std::abs(delay.delay - truth) > 0.5 / centre) {
            outlier[t] = 1;
            return;
        }
        const double reported =
            common_delay_limit(std::span<const Plain>(&found[0], 1), {std::sqrt(deviation), rate});
        errors[0].set(t, delay.delay - truth, bound, reported);
    });
    return point(options, decibels, 0, errors, outlier);
}

StudyPoint two_echoes(double separation, double decibels, const StudyOptions& options) {
    const SampledNoise noise = noise_at(decibels);
    std::vector<Errors> errors{{"first arrival", options.trials}};
    std::vector<char> outlier(options.trials, 0);
    examples::for_each_in_parallel(
        options.trials, options.threads, "two echoes", [&](std::size_t t) {
            RandomStream stream(103, t);
            const auto truth = pair(separation, stream.uniform(-3.14, 3.14));
            const auto samples = noisy(truth, noise.deviation, stream, options.single_precision);
            const EchoLimit limit =
                echo_limits(std::span<const Plain>(truth), shape_known, noise)[0];
            // From the truth: a local fit, judged for its scatter, not for its search.
            const auto fit = fit_echoes(samples, grid, std::vector{truth[0].atom, truth[1].atom},
                                        std::vector{known_shape(), known_shape()});
            const double late = fit.echoes[0].atom.arrival - truth[0].atom.arrival;
            outlier[t] = std::abs(late) > 0.5 / centre ? 1 : 0;
            errors[0].set(t, late, limit.arrival, fit.covariance.arrival(0));
        });
    return point(options, decibels, separation, errors, outlier);
}

StudyPoint shared_shapes(double separation, double decibels, const StudyOptions& options) {
    constexpr std::size_t frames = 100;
    const SampledNoise noise = noise_at(decibels);
    const std::size_t fits = (options.trials + frames - 1) / frames;
    StudyOptions all = options;
    all.trials = fits * frames;
    std::vector<Errors> errors{{"first arrival", all.trials}};
    std::vector<char> outlier(all.trials, 0);
    examples::for_each_in_parallel(fits, options.threads, "shared shapes", [&](std::size_t n) {
        RandomStream stream(104, n);
        std::vector<std::vector<Plain>> truth;
        std::vector<double> samples;
        Eigen::MatrixXd arrivals(frames, 2);
        for (std::size_t i = 0; i < frames; ++i) {
            truth.push_back(pair(separation, stream.uniform(-3.14, 3.14)));
            const auto frame =
                noisy(truth.back(), noise.deviation, stream, options.single_precision);
            samples.insert(samples.end(), frame.begin(), frame.end());
            for (Eigen::Index k = 0; k < 2; ++k) {
                arrivals(static_cast<Eigen::Index>(i), k) =
                    truth.back()[static_cast<std::size_t>(k)].atom.arrival;
            }
        }
        const auto limits =
            shared_shape_limits(std::span<const std::vector<Plain>>(truth), {}, noise);
        // From the sensor's nominal shape, 5 % off.
        const Gabor<double> shape{0, 1.05 * centre, 0.95 * bandwidth};
        const GaborBox box{{3e-6, 6.5e-6}, {3e6, 5e6}, {0.6e6, 1.6e6}};
        const auto fit =
            fit_shared_shape(FrameView<double>(samples, frames, grid.count), grid,
                             std::vector{shape, shape}, arrivals, std::vector{box, box});
        for (std::size_t i = 0; i < frames; ++i) {
            const auto row = static_cast<Eigen::Index>(i);
            const double late = fit.arrivals(row, 0) - truth[i][0].atom.arrival;
            const std::size_t t = n * frames + i;
            outlier[t] = std::abs(late) > 0.5 / centre ? 1 : 0;
            errors[0].set(t, late, limits[i][0].arrival, fit.arrival_deviations(row, 0));
        }
    });
    return point(all, decibels, separation, errors, outlier);
}

FalseAlarms false_alarms(double probability, std::size_t gates, const StudyOptions& options) {
    // The box of a sensor, spectral parameters within 10 %, at 4 complex MHz.
    using Complex = std::complex<double>;
    const SamplingGrid baseband{0, 4e6, 52, centre};
    const GaborBox box = GaborBox::around({centre, bandwidth}, 0.1, {1.5e-6, 11.5e-6});
    std::vector<char> alarm(gates, 0);
    constexpr std::size_t chunk = 500;
    examples::for_each_in_parallel(
        (gates + chunk - 1) / chunk, options.threads, "false alarms", [&](std::size_t n) {
            using Source = EchoSource<Complex, GaussNewton>;
            Source source(baseband, box, GaussNewton{}, 0);
            PursuitEngine<Source> engine;
            PursuitEngine<Source>::Result result;
            std::vector<Complex> samples(baseband.count);
            for (std::size_t k = n * chunk; k < std::min(gates, (n + 1) * chunk); ++k) {
                RandomStream stream(105, k);
                for (Complex& x : samples) {
                    x = Complex{stream.normal(), stream.normal()};
                }
                engine.run(samples, source, Orthogonal{1}, {0, FalseAlarm{2, probability}}, result);
                alarm[k] = result.atoms.empty() ? 0 : 1;
            }
        });
    const auto found = static_cast<double>(std::count(alarm.begin(), alarm.end(), 1));
    return {probability, found / static_cast<double>(gates), gates};
}

}  // namespace limits_study
