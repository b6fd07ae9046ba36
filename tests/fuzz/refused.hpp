// What the library may answer to any input: a result, or a refusal that says why.
#pragma once

#include <cstdio>
#include <cstdlib>
#include <string>
#include <string_view>

#include "echosieve/core/error.hpp"
#include "echosieve/io/files.hpp"

namespace echosieve::fuzz {

/// Ends the run as a finding unless it holds.
inline void hold(bool holds, const char* what) {
    if (!holds) {
        std::fprintf(stderr, "finding: %s\n", what);
        std::abort();
    }
}

/// A refusal names a quantity, its value and what it breaks: "name = value: relation".
inline void check_refusal(std::string_view text) {
    const bool complete = text.find(" = ") != std::string_view::npos &&
                          text.find(": ") != std::string_view::npos && text.size() < 2000;
    if (!complete) {
        std::fprintf(stderr, "finding: a refusal that does not say why: '%.*s'\n",
                     static_cast<int>(text.size()), text.data());
        std::abort();
    }
}

/// Runs it; true unless it was refused. Any other exception ends the run as a finding.
template <class Work>
bool accepted(Work work) {
    try {
        work();
    } catch (const InvalidInput& refusal) {
        check_refusal(refusal.what());
        return false;
    } catch (const FileError& refusal) {
        hold(std::string_view(refusal.what()).size() > 10, "a file refused without a word");
        return false;
    }
    return true;
}

}  // namespace echosieve::fuzz
