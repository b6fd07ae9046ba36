// A progress line on standard error, for work that takes longer than a second.
#pragma once

#include <unistd.h>

#include <chrono>
#include <cstddef>
#include <cstdio>
#include <string>
#include <utility>

namespace examples {

/// Shows nothing in the first second; then ten times a second on a terminal, every five seconds
/// elsewhere.
class Progress {
public:
    explicit Progress(std::string what)
        : what_(std::move(what)), terminal_(isatty(STDERR_FILENO) == 1) {}

    void show(std::size_t done, std::size_t all) {
        const auto now = std::chrono::steady_clock::now();
        const auto pause =
            shown_ ? (terminal_ ? std::chrono::milliseconds(100) : std::chrono::milliseconds(5000))
                   : std::chrono::milliseconds(1000);
        if (now - last_ < pause) {
            return;
        }
        last_ = now;
        shown_ = true;
        std::fprintf(stderr, "%s%s: %3zu %%%s", terminal_ ? "\r" : "", what_.c_str(),
                     100 * done / all, terminal_ ? "" : "\n");
        std::fflush(stderr);
    }
    void finish() {
        if (shown_ && terminal_) {
            std::fprintf(stderr, "\r%s: done \n", what_.c_str());
        }
    }

private:
    std::string what_;
    bool terminal_;
    bool shown_ = false;
    std::chrono::steady_clock::time_point last_ = std::chrono::steady_clock::now();
};

}  // namespace examples
