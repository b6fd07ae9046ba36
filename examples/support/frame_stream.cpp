#include "support/frame_stream.hpp"

#include <cstdio>

#include "echosieve/core/recording.hpp"
#include "echosieve/io/recording_file.hpp"
#include "support/options.hpp"
#include "support/tracking_options.hpp"

namespace examples {

void add_stream(CLI::App& app, StreamOrders& orders, echosieve::PulseDelayOptions& pulse) {
    app.add_option("SETTINGS.json", orders.settings, "Settings of the recording")->required();
    add_count(app, "--samples", orders.samples, {.most = longest_frame}, "Samples a frame")
        ->required();
    add_pulse_delay(app, orders.pulse_delay, pulse);
}

FrameStream::FrameStream(const StreamOrders& orders, const std::string& program)
    : program_(program),
      settings_(with_pulse_delay(echosieve::read_settings(orders.settings), orders.pulse_delay)),
      warnings_(program),
      frame_(orders.samples) {
    tell_unknown_settings(orders.settings);
    warnings_.tell(echosieve::settings_warnings(settings_, orders.samples));
}

const std::vector<std::int16_t>* FrameStream::next() {
    if (input_.next(frame_)) {
        return &frame_;
    }
    if (input_.cut_short()) {
        std::fprintf(stderr, "%s: the last frame is cut short and left out\n", program_.c_str());
    }
    return nullptr;
}

void print_columns() {
    std::printf("time_s,near_wall_m,far_wall_m,diameter_m,diameter_std_m,valid,quality\n");
}

void print_frame(const echosieve::FrameMotion& m, double start) {
    std::printf("%.6f,%.9f,%.9f,%.9f,%.9f,%d,%.4f\n", start + m.time, m.near_wall, m.far_wall,
                m.diameter, m.diameter_std, m.valid ? 1 : 0, m.quality);
}

}  // namespace examples
