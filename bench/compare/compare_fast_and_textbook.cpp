// The fast path beside the textbook's pursuit on the same frames, and beside a converged fit.
//
//   compare_fast_and_textbook [frames = 1000] [first seed = 1]
#include <algorithm>
#include <cmath>
#include <complex>
#include <cstdio>
#include <span>
#include <vector>

#include "echosieve/atoms/echo_limits.hpp"
#include "echosieve/condition/gate_baseband.hpp"
#include "echosieve/pursuit/fast_pursuit.hpp"
#include "echosieve/pursuit/joint_fit.hpp"
#include "frames.hpp"
#include "processor_time.hpp"
#include "program.hpp"
#include "textbook_pursuit.hpp"

namespace {

using namespace echosieve;
using namespace bench;

// Conditioning and the fast pursuit, with their memory.
template <Real R>
struct FastPath {
    explicit FastPath(std::size_t atoms)
        : basebander(gate, sensor),
          pursuit(basebander.grid(), box(), {.atoms = atoms, .polish = {}, .stop = {}},
                  basebander.weights()),
          samples(basebander.grid().count) {}

    const auto& run(const std::vector<R>& frame) {
        basebander.process(std::span<const R>(frame), std::span<std::complex<R>>(samples));
        return pursuit.run(samples);
    }

    GateBasebander<R> basebander;
    FastPursuit<R> pursuit;
    std::vector<std::complex<R>> samples;
};

// Energy of the real frame that echoes explain, as part of its energy.
double explained(const std::vector<double>& frame, const std::vector<Echo<Gabor<double>>>& echoes) {
    std::vector<double> left(frame);
    for (const Echo<Gabor<double>>& echo : echoes) {
        add(echo, gate, std::span<double>(left), -1.0);
    }
    return 1 - energy(left) / energy(frame);
}

template <Real R>
void beside_textbook(std::size_t frames, std::uint64_t first) {
    FastPath<R> fast(echoes_a_frame);
    // The fast path is timed in runs over this many frames, each run beside one textbook's.
    constexpr std::size_t together = 50;
    std::vector<std::vector<R>> others;
    for (std::size_t k = 0; k < together; ++k) {
        const std::vector<double> x = crowded_frame(first + frames + k);
        others.emplace_back(x.begin(), x.end());
    }
    std::vector<double> fast_seconds, textbook_seconds, ratios, differences;
    for (std::size_t k = 0; k < frames; ++k) {
        const std::vector<double> frame = crowded_frame(first + k);
        const textbook::Samples samples{frame.data(), frame.size(), gate.start_time,
                                        gate.sampling_rate};
        double start = processor_seconds();
        const auto slow =
            textbook::pursue(samples, textbook_bounds(), echoes_a_frame, {}, first + k);
        textbook_seconds.push_back(processor_seconds() - start);
        start = processor_seconds();
        for (const std::vector<R>& other : others) {
            fast.run(other);
        }
        fast_seconds.push_back((processor_seconds() - start) / together);
        ratios.push_back(textbook_seconds.back() / fast_seconds.back());
        const auto& found = fast.run(std::vector<R>(frame.begin(), frame.end()));
        differences.push_back(explained(frame, found.atoms) - (1 - slow.left / energy(frame)));
    }
    std::printf("  median processor time: textbook %.4g s, fast path with conditioning %.2f us\n",
                median(textbook_seconds), 1e6 * median(fast_seconds));
    std::printf("  ratio: %.0f (medians), %.0f (median of the pairs)\n",
                median(textbook_seconds) / median(fast_seconds), median(ratios));
    std::printf(
        "  explained energy, fast minus textbook: least %.3e, median %.3e; below 0 in %td "
        "of %zu frames\n",
        *std::ranges::min_element(differences), median(differences),
        std::ranges::count_if(differences, [](double d) { return d < 0; }), frames);
}

// Largest differences of single echoes, in standard deviations of the bound.
struct Differences {
    double arrival = 0, frequency = 0, bandwidth = 0, amplitude = 0, phase = 0;

    void take(const Echo<Gabor<double>>& x, const Echo<Gabor<double>>& y, const EchoLimit& limit) {
        const auto raise = [](double& most, double d, double unit) {
            most = std::max(most, std::abs(d) / unit);
        };
        raise(arrival, x.atom.arrival - y.atom.arrival, limit.arrival);
        raise(frequency, x.atom.centre_frequency - y.atom.centre_frequency, limit.centre_frequency);
        raise(bandwidth, x.atom.bandwidth / y.atom.bandwidth - 1, limit.relative_bandwidth);
        raise(amplitude, std::abs(x.amplitude) / std::abs(y.amplitude) - 1,
              limit.relative_amplitude);
        raise(phase, std::arg(x.amplitude / y.amplitude), limit.phase);
    }
    void print(const char* beside) const {
        std::printf(
            "  from the converged fit of %s: arrival %.4f, frequency %.4f, bandwidth %.4f, "
            "amplitude %.4f, phase %.4f\n",
            beside, arrival, frequency, bandwidth, amplitude, phase);
    }
};

template <Real R>
void beside_fit(std::size_t frames, std::uint64_t first) {
    FastPath<R> fast(1);
    // fit_echoes counts all samples alike: beside it on baseband samples, so does the fast path.
    FastPursuit<R> alike(fast.basebander.grid(), box(), fast.pursuit.options());
    Differences same, raw;
    for (std::size_t k = 0; k < frames; ++k) {
        const SingleEcho single = single_echo(first + k);
        const auto limit = echo_limits(std::span<const Echo<Gabor<double>>>(&single.echo, 1), {},
                                       {.deviation = noise, .sampling_rate = gate.sampling_rate});
        const FitOptions tight{.step_tolerance = 1e-10, .gain_tolerance = 1e-16};
        const std::vector<Gabor<double>> truth{single.echo.atom};
        const auto& found = fast.run(std::vector<R>(single.frame.begin(), single.frame.end()));
        raw.take(found.atoms.at(0), fit_echoes(single.frame, gate, truth, {box()}, tight).echoes[0],
                 limit[0]);
        const SamplingGrid& grid = fast.basebander.grid();
        same.take(alike.run(fast.samples).atoms.at(0),
                  fit_echoes(fast.samples, grid, truth, {box()}, tight).echoes[0], limit[0]);
    }
    raw.print("the 650 raw samples");
    same.print("the same baseband samples");
}

}  // namespace

int main(int count, char** arguments) {
    const std::size_t frames = std::max<std::size_t>(number_argument(count, arguments, 1, 1000), 1);
    const std::uint64_t first = number_argument(count, arguments, 2, 1);
    std::printf("float, %zu frames of ten echoes\n", frames);
    beside_textbook<float>(frames, first);
    std::printf("double, %zu frames of ten echoes\n", std::min<std::size_t>(frames, 100));
    beside_textbook<double>(std::min<std::size_t>(frames, 100), first);
    std::printf("one echo at 20 dB, %zu frames: largest difference over the Cramer-Rao bound\n",
                frames);
    std::printf(" float\n");
    beside_fit<float>(frames, first);
    std::printf(" double\n");
    beside_fit<double>(frames, first);
}
