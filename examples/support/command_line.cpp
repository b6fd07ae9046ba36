#include "support/command_line.hpp"

#include <csignal>
#include <cstdio>
#include <exception>
#include <filesystem>
#include <new>
#include <stdexcept>
#include <string>
#include <system_error>
#include <utility>

#include "echosieve/io/files.hpp"
#include "support/interrupt.hpp"
#include "support/standard_streams.hpp"

namespace examples {
namespace {

// What went wrong, in words of ours: those of the standard library name its functions.
std::string sentence(const std::exception& problem) {
    if (const auto* files = dynamic_cast<const std::filesystem::filesystem_error*>(&problem)) {
        return echosieve::printable(files->path1().string()) + ": " + files->code().message();
    }
    if (const auto* system = dynamic_cast<const std::system_error*>(&problem)) {
        return "the system refused: " + system->code().message();
    }
    if (dynamic_cast<const std::bad_alloc*>(&problem) != nullptr ||
        dynamic_cast<const std::length_error*>(&problem) != nullptr) {
        return "the memory does not suffice for input or options of this size";
    }
    return problem.what();
}

// What the parser says; a group of options by its title alone.
std::string sentence(const CLI::ParseError& problem) {
    std::string text = problem.what();
    const std::string group = "[Option Group: ";
    for (std::size_t start = text.find(group); start != std::string::npos;
         start = text.find(group)) {
        const std::size_t end = text.find(']', start);
        const std::string title = text.substr(start + group.size(), end - start - group.size());
        text.replace(start, end - start + 1, "any option of '" + title + "'");
    }
    return echosieve::printable(text);
}

}  // namespace

CommandLine::CommandLine(std::string program, const std::string& purpose)
    : program_(std::move(program)), app_(purpose + '\n' + notice) {
    app_.name(program_);
    app_.set_version_flag("--version", program_ + " " ECHOSIEVE_VERSION, "Print the version");
    app_.get_formatter()->label("FLOAT", "NUMBER");
}

int CommandLine::parse_and_work(int argc, char** argv, const std::function<int()>& work) {
    int status = 0;
    try {
        app_.parse(argc, argv);
        status = work();
    } catch (const CLI::CallForHelp&) {
        std::fputs(app_.help().c_str(), stdout);
    } catch (const CLI::CallForVersion& version) {
        std::printf("%s\n", version.what());
    }
    flush_output();
    return status;
}

int CommandLine::run(int argc, char** argv, const std::function<int()>& work) {
    hold_standard_streams();
    std::signal(SIGXFSZ, SIG_IGN);
    try {
        watch_interrupts();
        return parse_and_work(argc, argv, work);
    } catch (const CLI::ParseError& problem) {
        std::fprintf(stderr, "%s: %s (--help tells more)\n", program_.c_str(),
                     sentence(problem).c_str());
    } catch (const std::exception& problem) {
        std::fprintf(stderr, "%s: %s\n", program_.c_str(), sentence(problem).c_str());
    }
    return refused;
}

}  // namespace examples
