#include "echosieve/io/files.hpp"

#include <locale>
#include <system_error>
#include <utility>

#include "partial.hpp"

namespace echosieve {

namespace fs = std::filesystem;

AtomicFile::AtomicFile(fs::path name) : name_(std::move(name)) {
    std::error_code error;
    const fs::file_status status = fs::status(name_, error);
    if (fs::exists(status) && !fs::is_regular_file(status)) {
        throw FileError(name_, "can't be replaced: it is not a regular file");
    }
    for (const detail::Partial& left : detail::abandoned(name_, detail::partial_ending)) {
        fs::remove(left.path, error);
        detail::close_lock(left.lock);
    }
    const detail::Partial own = detail::make_partial_file(name_);
    partial_ = own.path;
    lock_ = own.lock;
    stream_.imbue(std::locale::classic());
    stream_.open(partial_, std::ios::binary | std::ios::trunc);
    if (!stream_) {
        discard();
        throw FileError(name_, "can't be written to");
    }
}

AtomicFile::~AtomicFile() {
    discard();
}

void AtomicFile::discard() noexcept {
    if (!partial_.empty()) {
        stream_.close();
        std::error_code ignored;
        fs::remove(partial_, ignored);
        partial_.clear();
    }
    detail::close_lock(std::exchange(lock_, -1));
}

void AtomicFile::commit() {
    stream_.close();
    if (!stream_) {
        throw FileError(name_, "writing failed; is the disk full?");
    }
    std::error_code error;
    fs::rename(partial_, name_, error);
    if (error) {
        throw FileError(name_, "can't be renamed from its partial file: " + error.message());
    }
    partial_.clear();
    discard();
}

}  // namespace echosieve
