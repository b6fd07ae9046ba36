// What is said on standard error while a program works on.
#pragma once

#include <filesystem>
#include <set>
#include <string>
#include <utility>
#include <vector>

namespace examples {

/// Says warnings, each once.
class Warnings {
public:
    /// `subject` stands before each: the program, or a file.
    explicit Warnings(std::string subject) : subject_(std::move(subject)) {}
    void tell(const std::vector<std::string>& warnings);

private:
    std::string subject_;
    std::set<std::string> said_;
};

/// Says what a file of settings holds that is not understood, perhaps misspelt. Throws as
/// echosieve::unknown_settings does.
void tell_unknown_settings(const std::filesystem::path& file);

}  // namespace examples
