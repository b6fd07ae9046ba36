#include "echosieve/io/files.hpp"

#include <algorithm>
#include <fstream>
#include <system_error>
#include <utility>

#include "echosieve/core/error.hpp"
#include "partial.hpp"

namespace echosieve {
namespace {

namespace fs = std::filesystem;

// Parts of the hidden folder: the new files, the earlier ones, and an empty file for each that the
// new set does not have, so that work that was broken off can be ended.
constexpr const char* new_part = "new";
constexpr const char* old_part = "old";
constexpr const char* missing_part = "missing";

bool is_there(const fs::path& file) {
    std::error_code ignored;
    return fs::exists(fs::symlink_status(file, ignored));
}

// Renames, and back again unless all went well.
class Moves {
public:
    Moves() = default;
    Moves(const Moves&) = delete;
    Moves& operator=(const Moves&) = delete;
    ~Moves() {
        std::error_code ignored;
        for (; !kept_ && !done_.empty(); done_.pop_back()) {
            fs::rename(done_.back().second, done_.back().first, ignored);
        }
    }
    void move(const fs::path& from, const fs::path& to) {
        std::error_code error;
        fs::create_directories(to.parent_path(), error);
        done_.reserve(done_.size() + 1);  // what is moved can be moved back
        fs::rename(from, to, error);
        if (error) {
            throw FileError(to, "can't be put in place: " + error.message());
        }
        done_.emplace_back(from, to);
    }
    void keep() noexcept { kept_ = true; }

private:
    std::vector<std::pair<fs::path, fs::path>> done_;
    bool kept_ = false;
};

// What a whole hidden folder holds to its place, the mark last; again after it was broken off.
void put_in_place(const FileSetPlan& plan, const fs::path& hidden) {
    Moves moves;
    const auto is_new = [&](const std::string& file) { return is_there(hidden / new_part / file); };
    const auto is_missing = [&](const std::string& file) {
        return is_there(hidden / missing_part / file);
    };
    for (auto file = plan.files.rbegin(); file != plan.files.rend(); ++file) {
        if ((is_new(*file) || is_missing(*file)) && is_there(plan.folder / *file)) {
            moves.move(plan.folder / *file, hidden / old_part / *file);
        }
    }
    for (const std::string& file : plan.files) {
        if (is_new(file)) {
            moves.move(hidden / new_part / file, plan.folder / file);
        }
    }
    moves.keep();
}

bool holds_files(const fs::path& folder) noexcept {
    std::error_code error;
    for (fs::recursive_directory_iterator entry(folder, error), end; !error && entry != end;
         entry.increment(error)) {
        if (!entry->is_directory(error)) {
            return true;
        }
    }
    return false;
}

void remove_hidden(const fs::path& hidden, int lock) noexcept {
    std::error_code ignored;
    fs::remove_all(hidden, ignored);
    detail::close_lock(lock);
}

class FolderLock {
public:
    explicit FolderLock(const fs::path& folder) : lock_(detail::lock_folder(folder)) {}
    ~FolderLock() { detail::close_lock(lock_); }
    FolderLock(const FolderLock&) = delete;
    FolderLock& operator=(const FolderLock&) = delete;

private:
    int lock_;
};

}  // namespace

void refuse_to_replace(const fs::path& output, const std::vector<fs::path>& inputs) {
    for (const fs::path& input : inputs) {
        std::error_code ignored;  // what can't be looked at is not there
        if (fs::equivalent(output, input, ignored)) {
            throw FileError(output, "would be replaced by a result, but is the input " +
                                        printable(input.string()) +
                                        ": choose another place for the results");
        }
    }
}

FileSet::FileSet(FileSetPlan plan) : plan_(std::move(plan)) {
    if (plan_.folder.empty()) {
        plan_.folder = ".";
    }
    for (const std::string& file : plan_.files) {
        const fs::path path = plan_.folder / file;
        refuse_to_replace(path, plan_.inputs);
        std::error_code ignored;
        const fs::file_status status = fs::status(path, ignored);
        if (fs::exists(status) && !fs::is_regular_file(status)) {
            throw FileError(path, "can't be replaced: it is not a regular file");
        }
    }
    try {
        make_folder();
        finish_interrupted();
        const detail::Partial own = detail::make_partial_folder(plan_.folder / ("." + plan_.name));
        hidden_ = own.path;
        lock_ = own.lock;
        for (const std::string& file : plan_.files) {
            fs::create_directories((hidden_ / new_part / file).parent_path());
        }
    } catch (const fs::filesystem_error& problem) {
        throw FileError(problem.path1(), "can't be made: " + problem.code().message());
    }
}

FileSet::~FileSet() {
    if (!hidden_.empty() && !holds_files(hidden_ / old_part)) {
        remove_hidden(hidden_, lock_);
    } else {  // an earlier set that could not be put back: the next run ends the work
        detail::close_lock(lock_);
    }
    for (; !made_.empty(); made_.pop_back()) {
        std::error_code ignored;  // a folder with something in it stays
        fs::remove(made_.back(), ignored);
    }
}

void FileSet::make_folder() {
    std::vector<fs::path> missing;
    for (fs::path folder = plan_.folder; !folder.empty() && !is_there(folder);
         folder = folder.parent_path()) {
        missing.push_back(folder);
    }
    for (; !missing.empty(); missing.pop_back()) {
        std::error_code error;
        if (fs::create_directory(missing.back(), error)) {
            made_.push_back(missing.back());
        }
        if (error) {
            throw FileError(plan_.folder, "the folder can't be made: " + error.message());
        }
    }
    if (std::error_code ignored; !fs::is_directory(plan_.folder, ignored)) {
        throw FileError(plan_.folder, "is not a folder");
    }
}

void FileSet::finish_interrupted() {
    const fs::path stem = plan_.folder / ("." + plan_.name);
    const FolderLock lock(plan_.folder);
    for (const detail::Partial& left : detail::abandoned(stem, detail::partial_ending)) {
        remove_hidden(left.path, left.lock);
    }
    for (const detail::Partial& left : detail::abandoned(stem, detail::whole_ending)) {
        put_in_place(plan_, left.path);
        remove_hidden(left.path, left.lock);
    }
}

fs::path FileSet::stage(const std::string& file) const {
    require(std::find(plan_.files.begin(), plan_.files.end(), file) != plan_.files.end(), "file",
            file, "must be one of the set's");
    return hidden_ / new_part / file;
}

bool FileSet::stands(const std::string& file) const {
    return is_there(plan_.folder / file);
}

void FileSet::commit() {
    try {
        const FolderLock lock(plan_.folder);
        for (const std::string& file : plan_.files) {
            const fs::path mark = hidden_ / missing_part / file;
            // What is not there needs no taking away, and a plan may name hundreds.
            if (!is_there(hidden_ / new_part / file) && stands(file)) {
                fs::create_directories(mark.parent_path());
                if (!std::ofstream(mark)) {
                    throw FileError(mark, "can't be made");
                }
            }
        }
        fs::path whole = hidden_;
        whole.replace_extension(detail::whole_ending);
        fs::rename(hidden_, whole);
        hidden_ = whole;
        put_in_place(plan_, hidden_);
        remove_hidden(std::exchange(hidden_, {}), std::exchange(lock_, -1));
        made_.clear();
    } catch (const fs::filesystem_error& problem) {
        throw FileError(problem.path1(), "can't be put in place: " + problem.code().message());
    }
}

}  // namespace echosieve
