#include "partial.hpp"

#include <fcntl.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <cstdint>
#include <random>
#include <string>
#include <system_error>

#include "echosieve/io/files.hpp"

namespace echosieve::detail {
namespace {

namespace fs = std::filesystem;

constexpr std::size_t digits = 16;
// A file system's names have 255 bytes at most: room for digits and ending.
constexpr std::size_t longest_stem = 200;

std::string stem_of(const fs::path& name) {
    return name.filename().string().substr(0, longest_stem) + '.';
}

fs::path folder_of(const fs::path& name) {
    return name.has_parent_path() ? name.parent_path() : fs::path(".");
}

std::string random_digits() {
    constexpr std::string_view hexadecimal = "0123456789abcdef";
    std::random_device source;
    std::string text;
    while (text.size() < digits) {
        text += hexadecimal[source() & 15U];
    }
    return text;
}

bool locked(int file) noexcept {
    return flock(file, LOCK_EX | LOCK_NB) == 0;
}

bool still_there(int file, const fs::path& path) noexcept {
    struct stat open = {};
    struct stat named = {};
    return fstat(file, &open) == 0 && lstat(path.c_str(), &named) == 0 &&
           open.st_ino == named.st_ino && open.st_dev == named.st_dev;
}

// `what` the user named: the file, or the folder for results.
[[noreturn]] void refuse(const fs::path& what) {
    throw FileError(what, "can't be written to: " + std::generic_category().message(errno));
}

template <class Make>
Partial make_partial(const fs::path& name, const fs::path& what, Make make) {
    constexpr int most_tries = 100;
    for (int tries = 0; tries < most_tries; ++tries) {
        const fs::path path =
            folder_of(name) / (stem_of(name) + random_digits() + std::string(partial_ending));
        const int file = make(path);
        if (file < 0 && errno != EEXIST) {
            refuse(what);
        }
        if (file < 0) {
            continue;
        }
        static_cast<void>(locked(file));
        // Between its making and its locking another process may have taken it for abandoned.
        if (still_there(file, path)) {
            return {path, file};
        }
        close(file);
    }
    errno = EEXIST;
    refuse(what);
}

}  // namespace

Partial make_partial_file(const fs::path& name) {
    return make_partial(name, name, [](const fs::path& path) {
        return open(path.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0666);
    });
}

Partial make_partial_folder(const fs::path& name) {
    return make_partial(name, folder_of(name), [](const fs::path& path) {
        return mkdir(path.c_str(), 0777) == 0
                   ? open(path.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC)
                   : -1;
    });
}

std::vector<Partial> abandoned(const fs::path& name, std::string_view ending) {
    const std::string stem = stem_of(name);
    std::vector<Partial> found;
    std::error_code error;
    for (fs::directory_iterator entry(folder_of(name), error), end; !error && entry != end;
         entry.increment(error)) {
        const std::string file = entry->path().filename().string();
        if (file.size() != stem.size() + digits + ending.size() || !file.starts_with(stem) ||
            !file.ends_with(ending) ||
            file.find_first_not_of("0123456789abcdef", stem.size()) != stem.size() + digits) {
            continue;
        }
        const int lock =
            open(entry->path().c_str(), O_RDONLY | O_NOFOLLOW | O_CLOEXEC | O_NONBLOCK);
        if (lock >= 0 && locked(lock) && still_there(lock, entry->path())) {
            found.push_back({entry->path(), lock});
        } else {
            close_lock(lock);
        }
    }
    return found;
}

int lock_folder(const fs::path& folder) noexcept {
    const int lock = open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    while (lock >= 0 && flock(lock, LOCK_EX) != 0 && errno == EINTR) {
    }
    return lock;
}

void close_lock(int lock) noexcept {
    if (lock >= 0) {
        close(lock);
    }
}

}  // namespace echosieve::detail
