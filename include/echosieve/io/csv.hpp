// Tables of numbers as comma-separated text. Its files are compiled: link echosieve::io.
#pragma once

#include <cmath>
#include <cstddef>
#include <filesystem>
#include <initializer_list>
#include <span>
#include <string_view>
#include <vector>

#include "echosieve/core/error.hpp"
#include "echosieve/io/files.hpp"

namespace echosieve {

/// One column: its name (with the unit in it), and how many digits follow the point.
struct CsvColumn {
    std::string_view name;
    int decimals = 9;
};

/// Writes a header line and then a line per row, whole or not at all; NaN is written as `nan`
/// whatever its sign, infinities as `inf` and `-inf`.
class CsvWriter {
public:
    /// Throws FileError if the file can't be written to, InvalidInput for a name with a
    /// comma, quote or line break in it, or decimals outside 0 to 17.
    CsvWriter(const std::filesystem::path& file, const std::vector<CsvColumn>& columns)
        : file_(file) {
        for (const CsvColumn& column : columns) {
            require(column.name.find_first_of(",\"\r\n") == std::string_view::npos, "column name",
                    column.name, "must hold no comma, quote or line break");
            require(column.decimals >= 0 && column.decimals <= 17, "decimals", column.decimals,
                    "must lie in [0, 17]");
            file_.stream() << (decimals_.empty() ? "" : ",") << column.name;
            decimals_.push_back(column.decimals);
        }
        file_.stream() << '\n' << std::fixed;
    }

    /// Throws InvalidInput unless there is a value for each column.
    void row(std::span<const double> values) {
        if (values.size() != decimals_.size()) {  // no text is made for a good row
            require(false, "number of values", values.size(),
                    detail::concatenate("must equal the number of columns, ", decimals_.size()));
        }
        for (std::size_t k = 0; k < values.size(); ++k) {
            file_.stream().precision(decimals_[k]);
            file_.stream() << (k == 0 ? "" : ",")
                           << (std::isnan(values[k]) ? std::abs(values[k]) : values[k]);
        }
        file_.stream() << '\n';
    }
    void row(std::initializer_list<double> values) {
        row(std::span<const double>(values.begin(), values.size()));
    }
    /// Throws FileError if a write failed.
    void commit() { file_.commit(); }

private:
    AtomicFile file_;
    std::vector<int> decimals_;
};

}  // namespace echosieve
