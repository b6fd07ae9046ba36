// Frames of int16 samples on standard input, and what is found in them on standard output.
#pragma once

#include <CLI/CLI.hpp>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "echosieve/core/recording.hpp"
#include "echosieve/motion/artery_motion.hpp"
#include "echosieve/motion/pulse_delay.hpp"
#include "support/standard_streams.hpp"
#include "support/warnings.hpp"

namespace examples {

/// What every program that reads such frames must be told.
struct StreamOrders {
    std::string settings;
    std::size_t samples = 0;
    std::optional<double> pulse_delay;
};

/// SETTINGS.json, --samples, --pulse-delay and --no-pulse-delay.
void add_stream(CLI::App& app, StreamOrders& orders, echosieve::PulseDelayOptions& pulse);

class FrameStream {
public:
    /// Reads the settings, and says what is unusual about them. Throws as read_settings does.
    FrameStream(const StreamOrders& orders, const std::string& program);

    [[nodiscard]] const echosieve::RecordingSettings& settings() const noexcept {
        return settings_;
    }
    [[nodiscard]] Warnings& warnings() noexcept { return warnings_; }
    /// The next frame; nothing after the last, and it is said if that one was cut short. Throws
    /// std::runtime_error if the input can't be read.
    [[nodiscard]] const std::vector<std::int16_t>* next();

private:
    std::string program_;
    echosieve::RecordingSettings settings_;
    Warnings warnings_;
    FrameInput input_;
    std::vector<std::int16_t> frame_;
};

/// The columns, and a frame in them, `start` [s] after the first one.
void print_columns();
void print_frame(const echosieve::FrameMotion& motion, double start = 0);

}  // namespace examples
