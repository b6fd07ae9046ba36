// What programs need that draw by gnuplot: a folder for its data, and text between quotes.
#pragma once

#include <filesystem>
#include <string>
#include <system_error>

namespace examples {

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

/// The text between single quotes, a quote in it written as `quote`.
[[nodiscard]] inline std::string between_quotes(const std::string& text, const char* quote) {
    std::string result = "'";
    for (const char c : text) {
        result += c == '\'' ? std::string(quote) : std::string(1, c);
    }
    return result + "'";
}

/// As gnuplot reads it.
[[nodiscard]] inline std::string plot_quoted(const std::string& text) {
    return between_quotes(text, "''");
}
/// As the shell reads it.
[[nodiscard]] inline std::string shell_quoted(const std::string& text) {
    return between_quotes(text, "'\\''");
}

}  // namespace examples
