// A folder of its own for a test, and the text of what the test's reader refuses.
#pragma once

#include <sys/resource.h>

#include <algorithm>
#include <csignal>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <random>
#include <string>
#include <string_view>
#include <system_error>
#include <vector>

#include "echosieve/io/files.hpp"

namespace echosieve::test {

/// Made empty, gone afterwards, and nobody else's: ctest runs cases beside each other, and more
/// than one build may be under test.
struct Folder {
    std::filesystem::path path;

    explicit Folder(const std::string& name) {
        std::random_device number;
        do {
            path = std::filesystem::temp_directory_path() /
                   ("echosieve_io_" + name + "_" + std::to_string(number()));
        } while (!std::filesystem::create_directory(path));
    }
    ~Folder() {
        std::error_code ignored;
        std::filesystem::remove_all(path, ignored);
    }
    Folder(const Folder&) = delete;
    Folder& operator=(const Folder&) = delete;
};

inline void write_bytes(const std::filesystem::path& file, std::string_view bytes) {
    std::ofstream out(file, std::ios::binary);
    out.write(bytes.data(), static_cast<std::streamsize>(bytes.size()));
}

[[nodiscard]] inline std::string bytes_of(const std::filesystem::path& file) {
    std::ifstream in(file, std::ios::binary);
    return {std::istreambuf_iterator<char>(in), {}};
}

/// The names in a folder, hidden ones too, in order.
[[nodiscard]] inline std::vector<std::string> names_in(const std::filesystem::path& folder) {
    std::vector<std::string> names;
    for (const auto& entry : std::filesystem::directory_iterator(folder)) {
        names.push_back(entry.path().filename().string());
    }
    std::sort(names.begin(), names.end());
    return names;
}

/// While it lives no file can grow beyond `bytes`: a full disk, as far as a writer can tell.
class FullDisk {
public:
    explicit FullDisk(rlim_t bytes) : signal_(std::signal(SIGXFSZ, SIG_IGN)) {
        getrlimit(RLIMIT_FSIZE, &before_);
        const rlimit now{bytes, before_.rlim_max};
        setrlimit(RLIMIT_FSIZE, &now);
    }
    ~FullDisk() {
        setrlimit(RLIMIT_FSIZE, &before_);
        std::signal(SIGXFSZ, signal_);
    }
    FullDisk(const FullDisk&) = delete;
    FullDisk& operator=(const FullDisk&) = delete;

private:
    void (*signal_)(int);
    rlimit before_{};
};

/// What a FileError says, or that none was thrown; other exceptions pass.
template <class Act>
[[nodiscard]] std::string message_of(Act act) {
    try {
        act();
    } catch (const FileError& error) {
        return error.what();
    }
    return "no FileError was thrown";
}

[[nodiscard]] inline bool contains(std::string_view text, std::string_view part) {
    return text.find(part) != std::string_view::npos;
}

}  // namespace echosieve::test
