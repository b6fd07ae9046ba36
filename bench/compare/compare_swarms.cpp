// The swarm in vector lanes beside the textbook's swarm: the same number of particles and
// iterations, echo by echo on the same residuals.
//
//   compare_swarms [frames = 50] [first seed = 1]
#include <algorithm>
#include <complex>
#include <cstddef>
#include <cstdint>
#include <cstdio>
#include <span>
#include <string>
#include <vector>

#include "echosieve/core/instruction_set.hpp"
#include "echosieve/kernels/detail/echo_swarm.hpp"
#include "echosieve/pursuit/swarm_pursuit.hpp"
#include "frames.hpp"
#include "processor_time.hpp"
#include "program.hpp"
#include "single_echo_gate.hpp"
#include "textbook_pursuit.hpp"

namespace {

using namespace echosieve;
using namespace bench;

// Relative differences of explained energy.
struct Differences {
    std::vector<double> all;

    void print(const char* what) const {
        std::vector<double> x(all);
        std::ranges::sort(x);
        const auto below = [&](double limit) {
            return std::ranges::count_if(x, [&](double d) { return d < limit; });
        };
        std::printf(
            "  %s: worst %.2e, 1%% %.2e, median %.2e, best %.2e; below -1e-6 in %td, -1e-4 in "
            "%td, -1e-2 in %td of %zu echoes\n",
            what, x.front(), x[x.size() / 100], x[x.size() / 2], x.back(), below(-1e-6),
            below(-1e-4), below(-1e-2), x.size());
    }
};

struct Runner {
    EchoSwarm swarm;
    std::vector<double> seconds;
    std::vector<double> ratios;
};

// Each echo of each frame by the textbook's swarm and by those in lanes, on the same residual.
class EchoByEcho {
public:
    EchoByEcho() {
        for (const InstructionSet set : all_instruction_sets) {
            if (available(set)) {
                runners_.push_back(
                    {EchoSwarm(problem_.weights(), problem_.swarm_bounds(), {}, set), {}, {}});
            }
        }
    }

    void take_apart(std::uint64_t frame_seed) {
        std::vector<double> raw = crowded_frame(frame_seed);
        const textbook::Samples samples{raw.data(), raw.size(), gate.start_time,
                                        gate.sampling_rate};
        for (std::size_t e = 0; e < echoes_a_frame; ++e) {
            const std::uint64_t seed = 1000 * frame_seed + e;
            const double start = processor_seconds();
            const Place slow = textbook::search(samples, textbook_bounds(), {}, seed);
            textbook_seconds_.push_back(processor_seconds() - start);
            problem_.condition(raw);
            compare(samples, slow, problem_.of_gate(in_lanes(seed)));
            const Place other = textbook::search(samples, textbook_bounds(), {}, ~seed);
            of_itself_.all.push_back(
                textbook::captured(samples, other) / textbook::captured(samples, slow) - 1);
            textbook::subtract(samples, slow, raw.data());
        }
    }

    void print(std::size_t frames) const {
        const EchoSwarmOptions options = runners_[0].swarm.options();
        const double evaluations =
            static_cast<double>(options.particles) * static_cast<double>(options.iterations);
        const double slow = median(textbook_seconds_);
        std::printf("one echo, %zu particles, %zu iterations, %zu frames of ten echoes\n",
                    options.particles, options.iterations, frames);
        std::printf("  textbook: median processor time %.4g ms, %.4g ns an evaluation\n",
                    1e3 * slow, 1e9 * slow / evaluations);
        for (const Runner& runner : runners_) {
            const double fast = median(runner.seconds);
            std::printf(
                "  swarm in lanes, %s: %.2f us, %.2f ns an evaluation; ratio %.0f (medians), %.0f "
                "(median of the pairs)\n",
                std::string(describe(runner.swarm.instruction_set())).c_str(), 1e6 * fast,
                1e9 * fast / evaluations, slow / fast, median(runner.ratios));
        }
        std::printf("  all instruction sets found the same bits: %s\n", alike_ ? "yes" : "NO");
        std::printf(" explained energy, relative difference from the textbook's swarm\n");
        on_gate_.print("on the conditioned gate, the swarm's own objective");
        on_raw_.print("on the 650 raw samples, the textbook's objective  ");
        on_raw_inside_.print("of these, where the textbook's is 1 us or more inside   ");
        of_itself_.print("textbook with another seed, on the raw samples    ");
    }

private:
    // One swarm is too short to time: so many of one seed after the other.
    static constexpr int together = 5;
    // Beyond this from the gate's ends less than 3 % of an envelope's peak is cut [s].
    static constexpr double uncut = 1e-6;

    EchoSwarmPoint in_lanes(std::uint64_t seed) {
        std::vector<EchoSwarmPoint> found;
        for (Runner& runner : runners_) {
            runner.swarm.seed(seed);
            found.push_back(runner.swarm.search(problem_.real(), problem_.imag()));
            const double start = processor_seconds();
            for (int again = 0; again < together; ++again) {
                static_cast<void>(runner.swarm.search(problem_.real(), problem_.imag()));
            }
            runner.seconds.push_back((processor_seconds() - start) / together);
            runner.ratios.push_back(textbook_seconds_.back() / runner.seconds.back());
            alike_ = alike_ && found.back().arrival == found[0].arrival &&
                     found.back().rotation == found[0].rotation &&
                     found.back().root_decay == found[0].root_decay &&
                     found.back().explained == found[0].explained;
        }
        return found[0];
    }

    void compare(const textbook::Samples& samples, const Place& slow, const Place& fast) {
        on_gate_.all.push_back(problem_.explained(problem_.on_gate(fast)) /
                                   problem_.explained(problem_.on_gate(slow)) -
                               1);
        on_raw_.all.push_back(
            textbook::captured(samples, fast) / textbook::captured(samples, slow) - 1);
        if (std::min(slow[0] - gate.start_time, gate.end_time() - slow[0]) > uncut) {
            on_raw_inside_.all.push_back(on_raw_.all.back());
        }
    }

    SingleEchoGate problem_;
    std::vector<Runner> runners_;
    std::vector<double> textbook_seconds_;
    Differences on_gate_, on_raw_, on_raw_inside_, of_itself_;
    bool alike_ = true;
};

void frame_by_frame(std::size_t frames, std::uint64_t first) {
    GateBasebander<float> basebander(gate, sensor);
    SwarmPursuit<float> pursuit(basebander.grid(), box(), {}, basebander.weights());
    std::vector<std::complex<float>> samples(basebander.grid().count);
    std::vector<double> fast, slow, differences;
    for (std::size_t k = 0; k < frames; ++k) {
        const std::vector<double> raw = crowded_frame(first + k);
        const std::vector<float> frame(raw.begin(), raw.end());
        double start = processor_seconds();
        basebander.process(std::span<const float>(frame), std::span(samples));
        const auto& found = pursuit.run(samples, 1, first + k);
        fast.push_back(processor_seconds() - start);
        std::vector<double> left(raw);
        for (const auto& echo : found.atoms) {
            add(echo, gate, std::span<double>(left), -1.0);
        }
        start = processor_seconds();
        const textbook::Pursuit textbooks =
            textbook::pursue({raw.data(), raw.size(), gate.start_time, gate.sampling_rate},
                             textbook_bounds(), echoes_a_frame, {}, first + k);
        slow.push_back(processor_seconds() - start);
        differences.push_back((textbooks.left - energy(left)) / energy(raw));
    }
    std::printf("frames of ten echoes, conditioning included, %s\n",
                std::string(describe(pursuit.instruction_set())).c_str());
    std::printf("  median processor time: textbook %.4g ms, SwarmPursuit %.4g ms, ratio %.0f\n",
                1e3 * median(slow), 1e3 * median(fast), median(slow) / median(fast));
    std::printf(
        "  explained part of the frame, SwarmPursuit minus textbook: least %.2e, median %.2e, most "
        "%.2e\n",
        *std::ranges::min_element(differences), median(differences),
        *std::ranges::max_element(differences));
}

}  // namespace

int main(int count, char** arguments) {
    const std::size_t frames = std::max<std::size_t>(number_argument(count, arguments, 1, 50), 1);
    const std::uint64_t first = number_argument(count, arguments, 2, 1);
    EchoByEcho comparison;
    for (std::size_t k = 0; k < frames; ++k) {
        comparison.take_apart(first + k);
    }
    comparison.print(frames);
    frame_by_frame(frames, first);
}
