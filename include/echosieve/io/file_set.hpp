// Files that belong together, put in place together once all of them are whole.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "echosieve/core/detail/api.hpp"

namespace echosieve {

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
