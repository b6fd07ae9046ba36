#include "support/standard_streams.hpp"

#include <fcntl.h>
#include <unistd.h>

#include <cerrno>
#include <cstdio>
#include <stdexcept>
#include <string>
#include <system_error>

namespace examples {
namespace {

[[noreturn]] void refuse(const char* problem) {
    throw std::runtime_error(std::string(problem) + ": " + std::generic_category().message(errno));
}

}  // namespace

void hold_standard_streams() {
    for (const int stream : {STDIN_FILENO, STDOUT_FILENO, STDERR_FILENO}) {
        if (fcntl(stream, F_GETFD) < 0) {
            // The lowest number that is free is the stream's; opened the wrong way round.
            static_cast<void>(open("/dev/null", stream == STDIN_FILENO ? O_WRONLY : O_RDONLY));
        }
    }
}

void flush_output() {
    errno = 0;
    const bool failed = std::ferror(stdout) != 0;
    if (std::fflush(stdout) != 0 || failed) {
        refuse("standard output can't be written");
    }
}

bool FrameInput::next(std::span<std::int16_t> frame) {
    const std::size_t bytes = std::fread(frame.data(), 1, frame.size_bytes(), stdin);
    if (std::ferror(stdin) != 0) {
        refuse("standard input can't be read");
    }
    cut_short_ = cut_short_ || (bytes > 0 && bytes < frame.size_bytes());
    return bytes == frame.size_bytes();
}

}  // namespace examples
