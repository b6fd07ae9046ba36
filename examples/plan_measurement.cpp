// Which displacement precision can be had with a sensor: over signal to noise, averaging, the
// spacing of a wall's layers, and the length of a coded pulse. Writes Markdown.
#include <cmath>
#include <cstdio>

#include "echosieve/correlate/measurement_plan.hpp"
#include "plan_measurement/layer_table.hpp"
#include "support/command_line.hpp"
#include "support/options.hpp"

using namespace echosieve;

namespace {

void print_row(const MeasurementPlan& plan) {
    const PlannedPrecision at = planned_precision(plan);
    std::printf("| %.0f | %.3g | %.3g |", plan.signal_to_noise, 1e6 * at.displacement,
                1e6 * at.depth);
    for (const double spacing : {0.2e-3, 0.4e-3, 0.8e-3}) {
        MeasurementPlan layered = plan;
        layered.layer_spacing = spacing;
        const PlannedPrecision two = planned_precision(layered);
        std::printf(two.layers_resolvable ? " %.3g |" : " (%.3g) |", 1e6 * two.layer_displacement);
    }
    std::printf(" %.1g |\n", at.cycle_skip_probability);
}

void print_tables(MeasurementPlan plan, double wanted) {
    // Before a line is printed.
    static_cast<void>(required_signal_to_noise(plan, 1e-6 * wanted));
    std::printf(
        "# What precision can be had\n\n"
        "Written by `plan_measurement`. Least standard deviations of unbiased estimates, real "
        "samples "
        "at %.0f MHz, %zu frame(s) averaged, %.1f MHz centre, %.1f MHz bandwidth (-6 dB). Signal "
        "to "
        "noise: an echo's peak over the noise's standard deviation in one sample, before any "
        "filter. Research use: not a medical device, not for diagnosis.\n\n"
        "Displacement: between two frames, by the phase. Depth: of one echo, all of its parameters "
        "unknown. Layers: the displacement of one of two equal echoes that move each by itself, so "
        "far apart, shapes known, worst over their phases; in brackets where it exceeds a tenth of "
        "a wavelength. Cycle skip: chance that the phase is a period off when nothing predicts "
        "it.\n\n"
        "| signal to noise [dB] | displacement [um] | depth [um] | layers 0.2 mm apart [um] | 0.4 "
        "mm "
        "| 0.8 mm | cycle skip |\n|---|---|---|---|---|---|---|\n",
        1e-6 * plan.sampling_rate, plan.averaged_frames, 1e-6 * plan.sensor.centre_frequency,
        1e-6 * plan.sensor.bandwidth);
    for (const double decibels : {-10, 0, 10, 20, 30, 40}) {
        plan.signal_to_noise = decibels;
        print_row(plan);
    }
    std::printf(
        "\nA coded pulse of the same peak, long and chirped over the sensor's band, compressed by "
        "its "
        "matched filter; needed: signal to noise of the *short* pulse for a displacement of %.3g "
        "um "
        "between two frames.\n\n"
        "| code length [us] | gain [dB] | needed [dB] | peak for the same precision | blind depth "
        "[mm] |\n|---|---|---|---|---|\n",
        wanted);
    for (const double length : {0.0, 2e-6, 5e-6, 10e-6, 20e-6, 50e-6}) {
        plan.code_length = length;
        const PlannedPrecision at = planned_precision(plan);
        std::printf("| %s%.3g | %.1f | %.1f | %.2f | %.1f |\n", length > 0 ? "" : "none, ",
                    1e6 * pulse_length(decay(coded_pulse(plan.sensor, length))), at.coding_gain,
                    required_signal_to_noise(plan, 1e-6 * wanted),
                    std::pow(10.0, -at.coding_gain / 20), 1e3 * at.blind_depth);
    }
}

}  // namespace

int main(int argc, char** argv) {
    examples::CommandLine line(
        "plan_measurement",
        "Least standard deviations (Cramer-Rao) of what a sensor can measure, as a table.");
    MeasurementPlan plan{.sensor = {.centre_frequency = 4e6, .bandwidth = 1e6}};
    double wanted = 1;
    double tissue_motion = 10;
    CLI::App& app = line.app();
    examples::add_number(app, "--centre-frequency", plan.sensor.centre_frequency, "[Hz]");
    examples::add_number(app, "--bandwidth", plan.sensor.bandwidth, "-6 dB [Hz]");
    examples::add_number(app, "--sampling-rate", plan.sampling_rate, "[Hz]");
    examples::add_count(app, "--averaged-frames", plan.averaged_frames, {.most = 1'000'000},
                        "Frames over which the wall stands still");
    examples::add_number(app, "--sound-speed", plan.sound_speed, "[m/s]");
    examples::add_number(app, "--wanted", wanted, "Displacement deviation [um]");
    examples::add_number(app, "--tissue-motion", tissue_motion,
                         "Of tissue over the wall's echo against the wall, a row of its own [um]");
    return line.run(argc, argv, [&] {
        const auto layers = plan_measurement::overlapping_layers(plan, 1e-6 * tissue_motion);
        print_tables(plan, wanted);
        plan_measurement::print(layers, plan.signal_to_noise);
        return 0;
    });
}
