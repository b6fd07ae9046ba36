// A file that appears under its name only when it is complete.
#pragma once

#include <filesystem>
#include <fstream>
#include <locale>
#include <ostream>
#include <system_error>
#include <utility>

#include "echosieve/io/file_error.hpp"

namespace echosieve {

/// Writes to NAME.partial; commit() checks that all was written and renames it to NAME. Without
/// commit() the partial file is removed, so that half an output is never taken for a whole one; a
/// file that stood under NAME before stays until then. Two writers of one NAME at a time are not
/// supported.
class AtomicFile {
public:
    /// Throws FileError if the file can't be opened for writing.
    explicit AtomicFile(std::filesystem::path name) : name_(std::move(name)), partial_(name_) {
        partial_ += ".partial";
        stream_.imbue(std::locale::classic());  // no decimal comma, whatever the user's locale
        stream_.open(partial_, std::ios::binary | std::ios::trunc);
        if (!stream_) {
            throw FileError(name_, "can't be opened for writing");
        }
    }
    ~AtomicFile() {
        if (!committed_) {
            stream_.close();
            std::error_code ignored;
            std::filesystem::remove(partial_, ignored);
        }
    }
    AtomicFile(const AtomicFile&) = delete;
    AtomicFile& operator=(const AtomicFile&) = delete;

    [[nodiscard]] std::ostream& stream() noexcept { return stream_; }

    /// Throws FileError if a write failed (a full disk, say) or the file can't be given its name.
    void commit() {
        stream_.close();
        if (!stream_) {
            throw FileError(name_, "writing failed; is the disk full?");
        }
        std::error_code error;
        std::filesystem::rename(partial_, name_, error);
        if (error) {
            throw FileError(name_, "can't be renamed from its partial file: " + error.message());
        }
        committed_ = true;
    }

private:
    std::filesystem::path name_;
    std::filesystem::path partial_;
    std::ofstream stream_;
    bool committed_ = false;
};

}  // namespace echosieve
