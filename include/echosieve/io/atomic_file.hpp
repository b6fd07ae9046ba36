// A file that appears under its name only when it is complete.
#pragma once

#include <filesystem>
#include <fstream>
#include <ostream>

#include "echosieve/core/detail/api.hpp"

namespace echosieve {

/// Writes to NAME.<16 digits>.partial beside NAME, a name that no other writer has; commit() checks
/// that all was written and renames it to NAME. Without commit() the partial file is removed, so
/// that half an output is never taken for a whole one, and a file that stood under NAME before
/// stays until then. A partial file whose program was killed is removed by the next writer of NAME.
///
/// Whole after a kill and on a full disk; not after a power failure, since nothing is forced out of
/// the system's buffers: NAME may then be empty.
class AtomicFile {
public:
    /// Throws FileError if the file can't be written to, and for a NAME that is there
    /// already and no regular file: a folder, a device.
    ECHOSIEVE_API explicit AtomicFile(std::filesystem::path name);
    ECHOSIEVE_API ~AtomicFile();
    AtomicFile(const AtomicFile&) = delete;
    AtomicFile& operator=(const AtomicFile&) = delete;

    /// In the classic locale: no decimal comma, whatever the user's is.
    [[nodiscard]] std::ostream& stream() noexcept { return stream_; }

    /// Throws FileError if a write failed (a full disk, say) or the file can't be given its name.
    ECHOSIEVE_API void commit();

private:
    void discard() noexcept;

    std::filesystem::path name_;
    std::filesystem::path partial_;
    int lock_ = -1;  // held as long as the partial file has an owner
    std::ofstream stream_;
};

}  // namespace echosieve
