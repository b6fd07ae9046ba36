// What the programs that follow an artery take and say alike.
#pragma once

#include <CLI/CLI.hpp>
#include <cstddef>
#include <filesystem>
#include <optional>
#include <set>
#include <string>
#include <utility>
#include <vector>

#include "echosieve/core/recording.hpp"
#include "echosieve/motion/block_motion.hpp"
#include "echosieve/motion/pulse_delay.hpp"

namespace examples {

/// --pulse-delay [s], and --no-pulse-delay for no estimate.
void add_pulse_delay(CLI::App& app, std::optional<double>& delay,
                     echosieve::PulseDelayOptions& options);

/// The settings with the delay, if there is one, in place of their own. Throws InvalidInput for one
/// outside its domain.
[[nodiscard]] echosieve::RecordingSettings with_pulse_delay(echosieve::RecordingSettings settings,
                                                            const std::optional<double>& delay);

/// Blocks of `length` [s] that overlap by half; the shortest part that is fitted is no longer.
void set_block_length(echosieve::BlockOptions& options, double length);

/// Says on standard error what a file of settings holds that is not understood, perhaps misspelt.
/// Throws as echosieve::unknown_settings does.
void tell_unknown_settings(const std::filesystem::path& file);

/// Says warnings on standard error, each once.
class Warnings {
public:
    /// `subject` stands before each: the program, or a file.
    explicit Warnings(std::string subject) : subject_(std::move(subject)) {}
    void tell(const std::vector<std::string>& warnings);

private:
    std::string subject_;
    std::set<std::string> said_;
};

/// Samples a frame at most, a tenth of a second at 125 MHz: more is a slip.
inline constexpr std::size_t longest_frame = 12'500'000;

}  // namespace examples
