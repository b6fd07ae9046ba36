// A folder for what gnuplot reads and writes.
#pragma once

#include <filesystem>
#include <system_error>

namespace bench {

/// A folder inside `parent`, gone when the drawing is over. Throws
/// std::filesystem::filesystem_error.
class ScratchFolder {
public:
    explicit ScratchFolder(const std::filesystem::path& parent)
        : path_(parent / ".pictures.partial") {
        std::filesystem::remove_all(path_);
        std::filesystem::create_directories(path_);
    }
    ~ScratchFolder() {
        std::error_code ignored;
        std::filesystem::remove_all(path_, ignored);
    }
    ScratchFolder(const ScratchFolder&) = delete;
    ScratchFolder& operator=(const ScratchFolder&) = delete;
    [[nodiscard]] const std::filesystem::path& path() const { return path_; }

private:
    std::filesystem::path path_;
};

}  // namespace bench
