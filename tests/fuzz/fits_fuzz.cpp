// Joint fits of one frame and of many, covariances, limits and counts: any echo, box and option.
#include <Eigen/Core>
#include <complex>
#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

#include "echoes.hpp"
#include "echosieve/atoms/echo_limits.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/pursuit/echo_count.hpp"
#include "echosieve/pursuit/echo_covariance.hpp"
#include "echosieve/pursuit/joint_fit.hpp"
#include "echosieve/pursuit/shared_shape_fit.hpp"
#include "input.hpp"
#include "refused.hpp"

using namespace echosieve;
using namespace echosieve::fuzz;

namespace {

FitOptions any_fit_options(FuzzInput& in) {
    FitOptions options;
    options.iterations = in.whole(30);
    options.step_tolerance = in.number(1e-9);
    options.gain_tolerance = in.number(1e-10);
    if (in.flag()) {
        options.noise_variance = in.number(0.1);
    }
    options.resolvable_fraction = in.number(0.25);
    return options;
}

template <Sample T>
SamplingGrid fit_grid(FuzzInput& in) {
    const bool baseband = is_complex<T> && in.flag();
    return any_grid(in, 90, baseband ? 4e6 : 20e6, baseband ? 4e6 : 0);
}

template <FittedAtom A>
std::vector<AtomBox<A>> any_boxes(FuzzInput& in, const SamplingGrid& grid, std::size_t echoes) {
    std::vector<AtomBox<A>> boxes;
    for (std::size_t k = in.byte() < 250 ? 0 : 1; k < echoes; ++k) {
        boxes.push_back(any_box<A>(in, grid));
    }
    return boxes;
}

template <Sample T, FittedAtom A>
void one_frame(FuzzInput& in) {
    const SamplingGrid grid = fit_grid<T>(in);
    const FitOptions options = any_fit_options(in);
    const std::size_t echoes = in.count(0, 3);
    std::vector<A> start;
    for (std::size_t k = 0; k < echoes; ++k) {
        start.push_back(any_atom<A>(in, grid));
    }
    const std::vector<AtomBox<A>> boxes = any_boxes<A>(in, grid, echoes);
    const std::vector<T> samples = any_signal<T>(in, grid);
    JointFit<A> fit;
    if (accepted([&] { fit = fit_echoes(samples, grid, start, boxes, options); })) {
        hold(fit.status != FitStatus::not_run && fit.echoes.size() == echoes, "a fit of nothing");
        for (std::size_t k = 0; k < echoes; ++k) {
            hold(boxes[k].contains(fit.echoes[k].atom), "an echo outside its box");
        }
    }
}

template <Sample T, FittedAtom A>
void many_frames(FuzzInput& in) {
    const SamplingGrid grid = fit_grid<T>(in);
    SharedShapeOptions options;
    options.fit = any_fit_options(in);
    options.one_shape = in.flag();
    options.arrival_reach = in.flag() ? in.number(1e-6) : options.arrival_reach;
    const std::size_t echoes = in.count(0, 2);
    const std::size_t frames = in.count(0, 4);
    std::vector<A> start;
    for (std::size_t k = 0; k < echoes; ++k) {
        start.push_back(any_atom<A>(in, grid));
    }
    const std::vector<AtomBox<A>> boxes = any_boxes<A>(in, grid, echoes);
    Eigen::MatrixXd arrivals(in.byte() < 250 ? frames : in.count(0, 4), echoes);
    for (double& arrival : arrivals.reshaped()) {
        arrival = in.between(grid.start_time, grid.end_time());
    }
    std::vector<T> samples;
    for (std::size_t i = 0; i < frames; ++i) {
        const std::vector<T> frame = any_signal<T>(in, grid);
        samples.insert(samples.end(), frame.begin(), frame.end());
    }
    SharedShapeFit<A> fit;
    if (accepted([&] {
            fit = fit_shared_shape(FrameView<T>(samples, frames, grid.count), grid, start, arrivals,
                                   boxes, options);
        })) {
        hold(fit.status != FitStatus::not_run && fit.shapes.size() == echoes, "a fit of nothing");
    }
}

template <Sample T, FittedAtom A>
void knowledge(FuzzInput& in) {
    const SamplingGrid grid = fit_grid<T>(in);
    const std::size_t echoes = in.count(0, 4);
    std::vector<Echo<A>> x;
    for (std::size_t k = 0; k < echoes; ++k) {
        x.push_back(any_echo<A>(in, grid));
    }
    const std::vector<AtomBox<A>> boxes = any_boxes<A>(in, grid, echoes);
    const SampledNoise noise{in.number(0.1), in.number(grid.sampling_rate), is_complex<T>};
    const int free = in.byte();
    const FreeParameters unknown{(free & 1) == 0, (free & 2) == 0,  (free & 4) == 0,
                                 (free & 8) != 0, (free & 16) == 0, (free & 32) == 0};
    LimitOptions limits;
    limits = {in.number(0.25), in.number(1e-11)};
    const std::span<const Echo<A>> all(x);
    static_cast<void>(
        accepted([&] { static_cast<void>(echo_covariance<T>(x, grid, boxes, in.number(0.01))); }));
    static_cast<void>(
        accepted([&] { static_cast<void>(echo_limits(all, unknown, noise, limits)); }));
    static_cast<void>(accepted([&] {
        const std::vector<std::vector<Echo<A>>> frames(in.count(0, 3), x);
        static_cast<void>(shared_shape_limits(std::span<const std::vector<Echo<A>>>(frames),
                                              unknown, noise, limits));
    }));
    static_cast<void>(accepted([&] {
        std::vector<double> energies;
        for (std::size_t k = 0; k <= echoes; ++k) {
            energies.push_back(in.number(100));
        }
        static_cast<void>(count_by_information(energies, in.count(0, 500), in.number(5)));
        const EchoPrior prior{any_box<Gabor<double>>(in, grid), in.number(1000)};
        static_cast<void>(count_by_evidence(std::span<const double>(energies), all, prior, noise));
    }));
}

template <Sample T, FittedAtom A>
void any_task(FuzzInput& in) {
    switch (in.byte() % 3) {
        case 0:
            return one_frame<T, A>(in);
        case 1:
            return many_frames<T, A>(in);
        default:
            return knowledge<T, A>(in);
    }
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    FuzzInput in(data, size);
    switch (in.byte() % 3) {
        case 0:
            any_task<double, Gabor<double>>(in);
            break;
        case 1:
            any_task<std::complex<double>, ChirpedGabor<double>>(in);
            break;
        default:
            any_task<std::complex<float>, Gabor<double>>(in);
    }
    return 0;
}
