#include "support/number_table.hpp"

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>
#include <fstream>
#include <string_view>
#include <system_error>

#include "echosieve/io/files.hpp"

namespace examples {
namespace {

using echosieve::FileError;

constexpr std::size_t longest_line = 1000;

// The next line without its end; false after the last one.
bool next_line(std::ifstream& in, const std::filesystem::path& file, std::string& line) {
    std::array<char, longest_line> text{};
    if (!in.getline(text.data(), text.size())) {
        if (!in.eof() || in.gcount() > 0) {
            throw FileError(file, "a line can't be read, or is longer than any of such a table");
        }
        return false;
    }
    line = text.data();
    if (!line.empty() && line.back() == '\r') {
        line.pop_back();
    }
    return true;
}

std::vector<double> numbers_in(std::string_view line, const std::string& place,
                               const std::filesystem::path& file) {
    std::vector<double> row;
    while (true) {
        const std::string_view field = line.substr(0, line.find(','));
        double value = 0;
        const auto [end, error] = std::from_chars(field.data(), field.data() + field.size(), value);
        if (error != std::errc{} || end != field.data() + field.size() || std::isinf(value)) {
            throw FileError(file, place + ", column " + std::to_string(row.size() + 1) + " = '" +
                                      echosieve::printable(field) + "': must be a number, or nan");
        }
        row.push_back(value);
        if (field.size() == line.size()) {
            return row;
        }
        line.remove_prefix(field.size() + 1);
    }
}

}  // namespace

std::vector<std::vector<double>> read_table(const std::filesystem::path& file,
                                            const std::string& header) {
    std::error_code ignored;
    if (!std::filesystem::is_regular_file(file, ignored)) {
        throw FileError(file, "there is no such file");
    }
    std::ifstream in(file);
    std::string line;
    if (!next_line(in, file, line)) {
        throw FileError(file, "is empty, or can't be read");
    }
    if (line != header) {
        throw FileError(file, "starts with '" + echosieve::printable(line.substr(0, 100)) +
                                  "', must start with '" + header + "'");
    }
    const auto columns =
        static_cast<std::size_t>(std::count(header.begin(), header.end(), ',')) + 1;
    std::vector<std::vector<double>> rows;
    while (next_line(in, file, line)) {
        const std::string place = "row " + std::to_string(rows.size() + 1);
        rows.push_back(numbers_in(line, place, file));
        if (rows.back().size() != columns) {
            throw FileError(file, place + " has " + std::to_string(rows.back().size()) +
                                      " columns, not " + std::to_string(columns));
        }
    }
    if (rows.empty()) {
        throw FileError(file, "has no rows");
    }
    return rows;
}

}  // namespace examples
