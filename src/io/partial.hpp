// What is not whole yet: names that nobody else has, and that tell whether their owner still lives.
#pragma once

#include <filesystem>
#include <string_view>
#include <vector>

namespace echosieve::detail {

inline constexpr std::string_view partial_ending = ".partial";
inline constexpr std::string_view whole_ending = ".whole";

/// An open file or folder under a name of its own, locked until it is closed. The lock ends with
/// its process, however that ends, and is what tells an abandoned one from one in use: process
/// numbers come again, and mean nothing to another machine on the same disk.
struct Partial {
    std::filesystem::path path;
    int lock = -1;
};

/// Makes NAME.<16 digits>.partial, an empty file or folder. Throws FileError, naming the file NAME,
/// or the folder that a folder can't be made in.
[[nodiscard]] Partial make_partial_file(const std::filesystem::path& name);
[[nodiscard]] Partial make_partial_folder(const std::filesystem::path& name);

/// Takes over NAME.<16 digits> + ending, files or folders, whose owners are gone: locked, the
/// caller's to close. Where the file system knows no locks there are none.
[[nodiscard]] std::vector<Partial> abandoned(const std::filesystem::path& name,
                                             std::string_view ending);

/// Locks a folder, waiting for whoever has it; -1 where that can't be had.
[[nodiscard]] int lock_folder(const std::filesystem::path& folder) noexcept;
void close_lock(int lock) noexcept;

}  // namespace echosieve::detail
