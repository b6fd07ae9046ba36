// A locale that spoils numbers written without care.
#pragma once

#include <locale>
#include <string>

namespace echosieve::test {

/// Thousands apart and a decimal comma, as in many countries.
struct Continental : std::numpunct<char> {
    char do_decimal_point() const override { return ','; }
    char do_thousands_sep() const override { return '.'; }
    std::string do_grouping() const override { return "\3"; }
};

/// Gives it to all new streams, and takes it back at the end.
struct GlobalLocale {
    std::locale before = std::locale::global(std::locale(std::locale::classic(), new Continental));

    GlobalLocale() = default;
    ~GlobalLocale() { std::locale::global(before); }
    GlobalLocale(const GlobalLocale&) = delete;
    GlobalLocale& operator=(const GlobalLocale&) = delete;
};

}  // namespace echosieve::test
