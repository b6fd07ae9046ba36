// Tables of numbers as comma-separated text.
#pragma once

#include <cstddef>
#include <filesystem>
#include <initializer_list>
#include <string>
#include <string_view>
#include <vector>

#include "echosieve/core/error.hpp"
#include "echosieve/io/atomic_file.hpp"

namespace echosieve {

/// One column: its name (with the unit in it), and how many digits follow the point.
struct CsvColumn {
    std::string_view name;
    int decimals = 9;
};

/// Writes a header line and then a line per row, whole or not at all; NaN is written as `nan`.
class CsvWriter {
public:
    CsvWriter(const std::filesystem::path& file, std::vector<CsvColumn> columns)
        : file_(file), columns_(std::move(columns)) {
        for (std::size_t k = 0; k < columns_.size(); ++k) {
            file_.stream() << (k == 0 ? "" : ",") << columns_[k].name;
        }
        file_.stream() << '\n' << std::fixed;
    }

    /// Throws InvalidInput unless there is a value for each column.
    void row(std::initializer_list<double> values) {
        require(values.size() == columns_.size(), "number of values", values.size(),
                detail::concatenate("must equal the number of columns, ", columns_.size()));
        std::size_t k = 0;
        for (const double value : values) {
            file_.stream().precision(columns_[k].decimals);
            file_.stream() << (k == 0 ? "" : ",") << value;
            ++k;
        }
        file_.stream() << '\n';
    }
    /// Throws FileError if a write failed.
    void commit() { file_.commit(); }

private:
    AtomicFile file_;
    std::vector<CsvColumn> columns_;
};

}  // namespace echosieve
