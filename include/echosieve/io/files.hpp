// Files, and sets of files, that appear under their names only when they are whole, and the
// exception for those that can't be read or written. Compiled: link echosieve::io.
#pragma once

#include <filesystem>
#include <fstream>
#include <ostream>
#include <stdexcept>
#include <string>
#include <string_view>
#include <vector>

#include "echosieve/core/detail/api.hpp"

namespace echosieve {

/// The text with every control character, and every byte that is no UTF-8, written as \xNN: fit for
/// a terminal and for JSON, whatever a file may be called.
[[nodiscard]] ECHOSIEVE_API std::string printable(std::string_view text);

/// Thrown for every file that is refused: what() names the file, and the field and value at fault.
class ECHOSIEVE_EXPORT FileError : public std::runtime_error {
public:
    ECHOSIEVE_API FileError(const std::filesystem::path& file, const std::string& problem);
};

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

/// Throws FileError if writing `output` would replace one of `inputs`, whatever name, link or
/// relative path leads to it.
ECHOSIEVE_API void refuse_to_replace(const std::filesystem::path& output,
                                     const std::vector<std::filesystem::path>& inputs);

/// Where a set stands, and what it may hold.
struct FileSetPlan {
    std::filesystem::path folder;  ///< made if it is missing
    std::string name;              ///< of the hidden folder in it that holds what isn't whole yet
    /// all names that such a set may have, below `folder`; the last is the mark of a whole one
    std::vector<std::string> files;
    std::vector<std::filesystem::path> inputs{};  ///< files that must not be replaced
};

/// The files are written to a hidden folder inside `folder`, .NAME.<16 digits>.partial. commit()
/// takes the files of an earlier set away, its mark first, and puts the new ones in place, the mark
/// last: a folder without the mark holds no set, and one with it holds files of one set alone. What
/// fails before leaves the earlier set as it was. A process killed before commit() leaves the
/// hidden folder, which the next set of that name in that folder removes; one killed within it
/// leaves a hidden folder .NAME.<16 digits>.whole, from which the next set first ends its work.
class FileSet {
public:
    /// Throws FileError for a folder that can't be made or written to, for a file of the plan that
    /// is one of its inputs, or is there and no regular file.
    ECHOSIEVE_API explicit FileSet(FileSetPlan plan);
    /// Without commit() nothing is left of what was written, nor of a folder made for it.
    ECHOSIEVE_API ~FileSet();
    FileSet(const FileSet&) = delete;
    FileSet& operator=(const FileSet&) = delete;

    /// Where to write `file`, one of the plan's. Throws InvalidInput for another one.
    [[nodiscard]] ECHOSIEVE_API std::filesystem::path stage(const std::string& file) const;
    /// The hidden folder, for files that help to make those of the set.
    [[nodiscard]] const std::filesystem::path& hidden_folder() const noexcept { return hidden_; }
    /// Whether `file` of an earlier set is there.
    [[nodiscard]] ECHOSIEVE_API bool stands(const std::string& file) const;

    /// Puts what was written in place; files of the plan that were not written are then not there.
    /// Throws FileError if that fails: then the earlier set is back.
    ECHOSIEVE_API void commit();

private:
    void make_folder();
    void finish_interrupted();

    FileSetPlan plan_;
    std::vector<std::filesystem::path> made_;  // folders that this object made
    std::filesystem::path hidden_;
    int lock_ = -1;  // of the hidden folder
};

}  // namespace echosieve
