// What all programs do alike around their work: options, help, version, errors in sentences, and
// the exit status.
#pragma once

#include <CLI/CLI.hpp>
#include <functional>
#include <string>

namespace examples {

/// Exit status, as README says: 0 all done, 1 refused or failed, 2 no artery was followed.
inline constexpr int refused = 1;
inline constexpr int not_followed = 2;

inline constexpr const char* notice = "Research use: not a medical device, not for diagnosis.";

class CommandLine {
public:
    /// `purpose` is what --help starts with; the notice follows it.
    CommandLine(std::string program, const std::string& purpose);

    /// For the program's options.
    [[nodiscard]] CLI::App& app() noexcept { return app_; }

    /// Reads the options and does the work, which returns the exit status. --help and --version end
    /// with 0. Whatever is thrown is said on standard error, in a sentence after the program's
    /// name, and ends with 1; so does output that could not be written. While the work runs, a file
    /// beyond a limit of its size is a failed write, no signal.
    [[nodiscard]] int run(int argc, char** argv, const std::function<int()>& work);

private:
    [[nodiscard]] int parse_and_work(int argc, char** argv, const std::function<int()>& work);

    std::string program_;
    CLI::App app_;
};

}  // namespace examples
