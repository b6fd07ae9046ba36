// The report of a tournament as a page, as lines for the terminal, and as a table for other
// programs.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "echo_reference.hpp"
#include "tournament.hpp"

namespace bench {

/// Problems whose minimum a method undercut by more than the target's margin: names and by whom.
/// Those under equalities are left out: their tolerance allows for less.
[[nodiscard]] std::vector<std::string> beaten_references(const Tournament& t);

/// What a person waits for: the methods in order, and the head-to-head on the echo fits.
void print_summary(const Tournament& t);

/// Throws std::runtime_error if the file can't be written. `references` belong to the echo fits, in
/// their order.
void write_page(const Tournament& t, const std::vector<EchoReference>& references,
                const std::filesystem::path& file);
/// A line a method and problem.
void write_table(const Tournament& t, const std::filesystem::path& file);

}  // namespace bench
