// make_recording: writes a synthetic recording with known truth.
#include "make_recording/orders.hpp"
#include "support/command_line.hpp"

int main(int argc, char** argv) {
    examples::CommandLine line(
        "make_recording",
        "Writes a synthetic recording of an artery between two layers of tissue, with known truth: "
        "NAME.npy, NAME.json, NAME.truth.csv and NAME.beats.csv; of several lines, "
        "NAME.truth_2.csv "
        "and so on for those after the first.");
    make_recording::Orders orders;
    make_recording::add_options(line.app(), orders);
    return line.run(argc, argv, [&] {
        make_recording::make(orders);
        return 0;
    });
}
