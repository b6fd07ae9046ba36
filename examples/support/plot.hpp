// Pictures by gnuplot, whole or refused.
#pragma once

#include <array>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <locale>
#include <ostream>
#include <stdexcept>
#include <string>
#include <string_view>
#include <vector>

namespace examples {

/// Data or a script for gnuplot: numbers in the classic locale.
class PlotFile {
public:
    /// Throws std::runtime_error if the file can't be opened.
    explicit PlotFile(const std::filesystem::path& file)
        : name_(file.filename().string()), stream_(file, std::ios::binary) {
        stream_.imbue(std::locale::classic());
        check("can't be opened for writing");
    }
    [[nodiscard]] std::ostream& stream() noexcept { return stream_; }
    /// Throws std::runtime_error unless all was written.
    void close() {
        stream_.close();
        check("writing failed; is the disk full?");
    }

private:
    void check(const char* problem) const {
        if (!stream_) {
            throw std::runtime_error(name_ + ", for the pictures: " + problem);
        }
    }

    std::string name_;
    std::ofstream stream_;
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

/// Whether gnuplot can be run.
[[nodiscard]] inline bool has_gnuplot() {
    return std::system("command -v gnuplot > /dev/null 2>&1") == 0;
}

/// A PNG file's first bytes, and its last chunk, empty, with its checksum (PNG specification,
/// second edition, 5.2 and 11.2.5).
[[nodiscard]] inline bool is_whole_picture(const std::filesystem::path& file) {
    using namespace std::string_view_literals;
    constexpr std::string_view first = "\x89PNG\r\n\x1A\n"sv;
    constexpr std::string_view last = "\0\0\0\0IEND\xAE\x42\x60\x82"sv;
    std::array<char, first.size()> start{};
    std::array<char, last.size()> end{};
    std::ifstream in(file, std::ios::binary);
    in.read(start.data(), start.size());
    in.seekg(-static_cast<std::streamoff>(end.size()), std::ios::end);
    in.read(end.data(), end.size());
    return in && std::string_view(start.data(), start.size()) == first &&
           std::string_view(end.data(), end.size()) == last;
}

/// Runs `script` with gnuplot in `folder`, where it and all that it reads and writes stand, and
/// looks whether each of the pictures that it must make is whole: gnuplot ends with status 0 when
/// the disk is full. Throws std::runtime_error if gnuplot fails or a picture is not whole.
inline void draw(const std::filesystem::path& folder, const std::string& script,
                 const std::vector<std::string>& pictures) {
    const char* quote = "'\\''";  // as the shell reads it
    const std::string command = "cd " + between_quotes(folder.string(), quote) + " && gnuplot " +
                                between_quotes(script, quote);
    if (std::system(command.c_str()) != 0) {
        throw std::runtime_error("gnuplot failed on the pictures; its message stands above");
    }
    for (const std::string& picture : pictures) {
        if (!is_whole_picture(folder / picture)) {
            throw std::runtime_error(picture +
                                     ": gnuplot did not write it whole; is the disk full?");
        }
    }
}

}  // namespace examples
