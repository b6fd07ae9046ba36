// Standard input and output as what they are: files that may fail, be full, or not be there.
#pragma once

#include <cstddef>
#include <cstdint>
#include <span>

namespace examples {

/// Takes the place of standard streams that were closed, so that no file that is opened later is
/// taken for one of them; reading from such a one, or writing to it, fails.
void hold_standard_streams();

/// Writes out what was printed. Throws std::runtime_error unless all of it could be written.
void flush_output();

/// Frames of int16 samples on standard input.
class FrameInput {
public:
    /// Reads the next frame; false at the end, and for a last frame that is cut short. Throws
    /// std::runtime_error if the input can't be read.
    [[nodiscard]] bool next(std::span<std::int16_t> frame);
    /// Whether the input ended within a frame.
    [[nodiscard]] bool cut_short() const noexcept { return cut_short_; }

private:
    bool cut_short_ = false;
};

}  // namespace examples
