// Compares motion.csv with the truth of a synthetic recording: rms error of each wall and of the
// distension, mean removed, against the better of the inner and outer layer, over the frames that
// were not dropped.
#include <cstdio>
#include <string>

#include "support/command_line.hpp"
#include "support/result_tables.hpp"
#include "support/score.hpp"

namespace {

int compare(const std::string& motion_file, const std::string& truth_file) {
    const auto [motion, truth] = examples::read_motion_and_truth(motion_file, truth_file);
    const examples::Score score = examples::score(motion, truth);
    std::printf("rms error: near wall %.2f um, far wall %.2f um, distension %.2f um\n",
                1e6 * score.near.rms, 1e6 * score.far.rms, 1e6 * score.distension.rms);
    std::printf("depth against the outer layer: near wall %+.3f mm, far wall %+.3f mm\n",
                1e3 * score.near_depth, 1e3 * score.far_depth);
    std::printf("gain error of the distension: %+.2f %%\n", 100 * score.distension.gain_error);
    std::printf(
        "valid: %zu of %zu frames that were not dropped; %zu dropped frames taken for valid\n",
        score.valid, score.measured, score.false_valid);
    return 0;
}

}  // namespace

int main(int argc, char** argv) {
    examples::CommandLine line(
        "compare_with_truth",
        "Compares motion.csv with the truth of a synthetic recording, NAME.truth.csv.");
    std::string motion, truth;
    line.app().add_option("motion.csv", motion, "What track_artery wrote")->required();
    line.app().add_option("NAME.truth.csv", truth, "What make_recording wrote")->required();
    return line.run(argc, argv, [&] { return compare(motion, truth); });
}
