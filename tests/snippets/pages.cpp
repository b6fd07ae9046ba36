// What the pages show of the library, each piece amid what it takes for granted, and printed.
#include <Eigen/Core>
#include <cmath>
#include <complex>
#include <cstddef>
#include <cstdint>
#include <cstdio>
#include <span>
#include <variant>
#include <vector>

#include "echosieve/echosieve.hpp"

namespace {

using echosieve::Gabor;
using echosieve::GaborBox;
using Complex = std::complex<double>;

constexpr std::size_t frame_count = 3;
const echosieve::SamplingGrid grid{20e-6, 4e6, 44, 4e6};
const GaborBox box = GaborBox::around({4e6, 1e6, {}}, 0.10, {grid.start_time, grid.end_time()});

/// Two echoes, the later by `moved` [s].
std::vector<Complex> frame_at(double moved) {
    std::vector<Complex> samples(grid.count);
    const std::span<Complex> view(samples);
    add(echosieve::Echo<Gabor<double>>{{24e-6 + moved, 4.1e6, 1e6}, 1.0}, grid, view);
    add(echosieve::Echo<Gabor<double>>{{27.5e-6 + moved, 3.9e6, 1.05e6}, {0.3, 0.5}}, grid, view);
    return samples;
}

void frame_by_frame(const echosieve::Recording& first_seconds,
                    const echosieve::FrameMatrix<std::int16_t>& more) {
    const std::span<const std::int16_t> frame = more[more.frames() / 2];
    // [frame by frame]
    const auto walls = echosieve::learn_walls(first_seconds);  // nothing if there is no artery
    echosieve::FrameFollower<std::int16_t> follower(*walls);
    const auto& now = follower.push(frame);  // now.motion.diameter, .valid, now.state
    // [end]
    std::printf("frame by frame: %.4f mm, %d, %d\n", now.motion.diameter * 1e3, now.motion.valid,
                static_cast<int>(now.state));
}

void echoes_and_delays(const std::vector<echosieve::Recording>& recordings) {
    const std::vector<Complex> samples = frame_at(0);
    const echosieve::Signal<Complex> signal{samples, grid};
    const std::vector<Gabor<double>> atoms{{24e-6, 4e6, 1e6}, {27.5e-6, 4e6, 1e6}};
    const std::vector<GaborBox> boxes(2, box);
    const auto later = fit_echoes(frame_at(20e-9), grid, atoms, boxes);
    std::vector<Complex> all_samples;
    std::vector<std::complex<float>> gate_samples;
    for (std::size_t i = 0; i < frame_count; ++i) {
        for (const Complex& sample : frame_at(10e-9 * static_cast<double>(i))) {
            all_samples.push_back(sample);
            gate_samples.push_back(static_cast<std::complex<float>>(sample));
        }
    }
    const echosieve::FrameView<Complex> frames(all_samples, frame_count, grid.count);
    const echosieve::FrameMatrix<std::complex<float>> gates(gate_samples, frame_count, grid.count);
    const std::vector<Gabor<double>>& shapes = atoms;
    Eigen::MatrixXd arrivals(frame_count, 2);
    arrivals.col(0).setConstant(atoms[0].arrival);
    arrivals.col(1).setConstant(atoms[1].arrival);
    // clang-format off
    // [echoes, delays and their error bars]
    auto found = echosieve::pursue(signal, box, echosieve::Orthogonal{.atoms = 3});
    auto fit   = echosieve::fit_echoes(samples, grid, atoms, boxes);            // all echoes of a frame at once
    auto many  = echosieve::fit_shared_shape(frames, grid, shapes, arrivals, boxes);  // shapes common to all frames
    auto delay = echosieve::delay_between(fit.echoes[0], later.echoes[0]);      // by the phase, in closed form
    echosieve::FastPursuit<float> fast(grid, box);                              // frames in microseconds
    auto all   = echosieve::pursue_frames(gates.view(), fast, 4);               // many frames, on four threads
    auto arms  = echosieve::track_arteries(recordings, {}, 4);                  // many recordings: the same bits as on one
    // [end]
    // clang-format on
    std::printf("pursue: %zu echoes, %.4f\n", found.atoms.size(), found.explained());
    std::printf("fit_echoes: %.4f us, resolvable %d\n", fit.echoes[1].atom.arrival * 1e6,
                static_cast<int>(fit.resolvable[1]));
    std::printf("fit_shared_shape: %.4f us\n", many.arrivals(2, 0) * 1e6);
    std::printf("delay_between: %.3f ns\n", delay.delay * 1e9);
    std::printf("pursue_frames: %zu frames, %.3f\n", all.size(),
                static_cast<double>(all[2].explained()));
    std::printf("track_arteries: %zu, %s\n", arms.size(), describe(arms[0].status).data());
}

/// Looks at random places, and keeps the best.
struct MyOwnOptimiser {
    template <class F, class R, class Watch>
    [[nodiscard]] echosieve::OptimiseResult<R> minimise(F& objective,
                                                        const echosieve::Box<R>& where,
                                                        std::uint64_t seed,
                                                        std::span<const R> start, Watch&) const {
        echosieve::OptimiseResult<R> result;
        result.status = echosieve::OptimiseStatus::iteration_limit;
        echosieve::RandomStream random(seed);
        std::vector<R> x(start.begin(), start.end());
        for (; result.iterations < 2000; ++result.iterations) {
            x.resize(where.dimension());
            for (std::size_t k = 0; k < x.size() && (result.iterations > 0 || start.empty()); ++k) {
                x[k] = random.uniform(where.lower(k), where.upper(k));
            }
            const R value = objective(std::span<const R>(x));
            ++result.evaluations;
            if (value < result.value) {
                result.value = value;
                result.x = x;
            }
        }
        return result;
    }
};

/// Two humps, each of a place, a width and a height, fitted to points of two others.
struct Humps {
    [[nodiscard]] std::size_t residual_count() const { return 24; }
    static double at(double t, std::span<const double> x) {
        double sum = 0;
        for (std::size_t k = 0; k < x.size(); k += 3) {
            const double u = (t - x[k]) / x[k + 1];
            sum += x[k + 2] * std::exp(-u * u);
        }
        return sum;
    }
    void residuals(std::span<const double> x, std::span<double> r) const {
        const std::vector<double> truth{0.3, 0.1, 0.9, 0.6, 0.15, 0.5};
        for (std::size_t i = 0; i < r.size(); ++i) {
            const double t = static_cast<double>(i) / 23;
            r[i] = at(t, x) - at(t, truth);
        }
    }
};

void optimisers() {
    const std::vector<Complex> samples = frame_at(0);
    const echosieve::Signal<Complex> signal{samples, grid};
    const GaborBox echo_box = ::box;
    const echosieve::Box<double> box(std::vector<double>(6, 0.05), std::vector<double>(6, 1));
    const auto my_function = [](std::span<const double> x) {
        return (x[0] - 0.5) * (x[0] - 0.5) + (x[1] - 0.25) * (x[1] - 0.25);
    };
    echosieve::SumOfSquares<Humps> my_fit(Humps{}, box);
    const std::uint64_t seed = 1;
    // clang-format off
    // [optimisers]
    auto fit = echosieve::minimise(my_function, box, echosieve::RingSwarm{.iterations = 400}, seed);
    auto best = echosieve::minimise(my_fit, box, echosieve::BlockwiseSearch<>{.block = 3}, seed);
    auto ours = echosieve::pursue(signal, echo_box, echosieve::Orthogonal{.atoms = 3}, MyOwnOptimiser{});
    // [end]
    // clang-format on
    std::printf("RingSwarm: %.2e, %s\n", fit.value, describe(fit.status).data());
    std::printf("BlockwiseSearch: below 1e-9 %d\n", static_cast<int>(best.value < 1e-9));
    std::printf("MyOwnOptimiser: %.3f\n", ours.explained());
}

}  // namespace

int main() {
    const echosieve::Recording first_seconds = echosieve::read_recording("left.npy");
    const auto& frames = std::get<echosieve::FrameMatrix<std::int16_t>>(first_seconds.samples);
    frame_by_frame(first_seconds, frames);
    echoes_and_delays({first_seconds, first_seconds});
    optimisers();
}
