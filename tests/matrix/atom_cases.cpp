// atoms: echoes on grids, what noisy samples tell of them.
#include <Eigen/Core>
#include <complex>
#include <cstddef>
#include <span>
#include <vector>

#include "bad_input.hpp"
#include "echosieve/atoms/echo_limits.hpp"
#include "echosieve/atoms/fisher_information.hpp"
#include "echosieve/atoms/gabor.hpp"
#include "echosieve/atoms/sampling.hpp"

namespace echosieve::test {
namespace {

using Chirped = ChirpedGabor<double>;
using Plain = Gabor<double>;

void parameters(BadInputs& out) {
    const Chirped good{20e-6, 4e6, 1e6, 1e11};
    const auto use = [](const Chirped& atom) { validate(atom); };
    out.vary("validate(atom)", "arrival", good, &Chirped::arrival, {not_a_number, infinite}, use);
    out.vary("validate(atom)", "centre_frequency", good, &Chirped::centre_frequency,
             {not_a_number, -infinite}, use);
    out.vary("validate(atom)", "bandwidth", good, &Chirped::bandwidth,
             {0.0, -1e6, not_a_number, infinite}, use);
    out.vary("validate(atom)", "chirp_rate", good, &Chirped::chirp_rate, {not_a_number, infinite},
             use);
}

void samples(BadInputs& out) {
    const Plain atom{20e-6, 4e6, 1e6};
    const SamplingGrid grid{20e-6, 40e6, 10, 0};
    out.add("sample", "size of the output", 9, [=] {
        std::vector<std::complex<double>> room(9);
        sample(atom, grid, std::span<std::complex<double>>(room));
    });
    out.add("add", "size of the output", 11, [=] {
        std::vector<double> room(11);
        add(Echo<Plain>{atom}, grid, std::span<double>(room));
    });
    const auto written = [=](const SamplingGrid& on) {
        std::vector<std::complex<double>> room(on.count);
        sample(atom, on, std::span<std::complex<double>>(room));
    };
    const auto added = [=](const SamplingGrid& on) {
        std::vector<double> room(on.count);
        add(Echo<Plain>{atom}, on, std::span<double>(room));
    };
    const auto echoed = [=](const Plain& echo) {
        std::vector<double> room(grid.count);
        add(Echo<Plain>{echo}, grid, std::span<double>(room));
    };
    out.vary("sample", "sampling_rate", grid, &SamplingGrid::sampling_rate,
             {0.0, -1.0, not_a_number, infinite}, written);
    out.vary("add", "sampling_rate", grid, &SamplingGrid::sampling_rate, {0.0, not_a_number},
             added);
    out.vary("add", "start_time", grid, &SamplingGrid::start_time, {not_a_number, infinite}, added);
    out.vary("add", "arrival", atom, &Plain::arrival, {not_a_number, -infinite}, echoed);
    out.vary("add", "bandwidth", atom, &Plain::bandwidth, {0.0, -1.0, not_a_number}, echoed);
    out.add("add", "mixing_frequency", 4e6, [=] {
        std::vector<double> room(10);
        add(Echo<Plain>{atom}, {20e-6, 40e6, 10, 4e6}, std::span<double>(room));
    });
}

void information(BadInputs& out) {
    using Echoes = std::vector<Echo<Plain>>;
    const Echoes good{{{20e-6, 4e6, 1e6}}, {{21e-6, 4e6, 1e6}}};
    const SampledNoise noise;
    const auto ask = [](const Echoes& echoes, const SampledNoise& n) {
        static_cast<void>(fisher_information(std::span<const Echo<Plain>>(echoes), {}, n));
    };
    const auto use_noise = [=](const SampledNoise& n) { ask(good, n); };
    out.vary("fisher_information", "deviation", noise, &SampledNoise::deviation,
             {0.0, -1.0, not_a_number, infinite}, use_noise);
    out.vary("fisher_information", "sampling_rate", noise, &SampledNoise::sampling_rate,
             {0.0, -1.0, not_a_number, infinite}, use_noise);
    for (const double bad : {0.0, not_a_number}) {
        Echoes echoes = good;
        echoes[1].atom.bandwidth = bad;
        out.add("fisher_information", "bandwidth", bad, [=] { ask(echoes, noise); });
        out.add("echo_limits", "bandwidth", bad, [=] {
            static_cast<void>(echo_limits(std::span<const Echo<Plain>>(echoes), {}, noise));
        });
    }
    const std::complex<double> loud(infinite, 0);
    Echoes echoes = good;
    echoes[0].amplitude = loud;
    out.add("fisher_information", "amplitude", loud, [=] { ask(echoes, noise); });
}

void limits(BadInputs& out) {
    using Echoes = std::vector<Echo<Plain>>;
    const Echoes good{{{20e-6, 4e6, 1e6}}};
    const auto use = [=](const LimitOptions& options) {
        static_cast<void>(echo_limits(std::span<const Echo<Plain>>(good), {}, {}, options));
    };
    out.vary("echo_limits", "coarsest", LimitOptions{}, &LimitOptions::coarsest,
             {0.0, -1.0, not_a_number}, use);
    out.vary("echo_limits", "least_pivot", LimitOptions{}, &LimitOptions::least_pivot,
             {0.0, 1.0, -1e-9, not_a_number}, use);
    out.add("least_covariance", "columns", 3, [] {
        static_cast<void>(least_covariance(Eigen::MatrixXd(Eigen::MatrixXd::Zero(2, 3))));
    });
    out.add("shared_shape_limits", "number of echoes", 2, [=] {
        const std::vector<Echoes> frames{good, {good[0], good[0]}};
        static_cast<void>(shared_shape_limits(std::span<const Echoes>(frames), {}, {}));
    });
}

}  // namespace

BadInputs atom_cases() {
    BadInputs out;
    parameters(out);
    samples(out);
    information(out);
    limits(out);
    return out;
}

}  // namespace echosieve::test
