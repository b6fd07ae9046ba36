// The files that a program makes.
#pragma once

#include <filesystem>
#include <string>
#include <utility>
#include <vector>

#include "echosieve/io/files.hpp"
#include "support/interrupt.hpp"

namespace examples {

/// A FileSet that leaves nothing behind when the program is interrupted.
class Results {
public:
    /// Throws as FileSet does.
    explicit Results(echosieve::FileSetPlan plan)
        : folder_(plan.folder), files_(std::move(plan)), guard_(files_.hidden_folder()) {}

    /// Where to write a file of the plan.
    [[nodiscard]] std::filesystem::path stage(const std::string& file) const {
        return files_.stage(file);
    }
    /// Whether the file of an earlier run is there.
    [[nodiscard]] bool stands(const std::string& file) const { return files_.stands(file); }
    /// For files that help to make the results.
    [[nodiscard]] const std::filesystem::path& hidden_folder() const noexcept {
        return files_.hidden_folder();
    }
    /// Puts all in place. Throws as FileSet does.
    void commit() {
        without_interrupt([this] { files_.commit(); });
    }
    /// Puts these alone in place, beside an earlier run's results that stay; the last is their
    /// mark. Those that were not written are then not there.
    void put_beside(const std::vector<std::string>& names) {
        without_interrupt([&] {
            std::filesystem::remove(folder_ / names.back());
            for (const std::string& name : names) {
                if (std::filesystem::exists(stage(name))) {
                    std::filesystem::rename(stage(name), folder_ / name);
                } else {
                    std::filesystem::remove(folder_ / name);
                }
            }
        });
    }

private:
    std::filesystem::path folder_;
    echosieve::FileSet files_;
    RemovedOnInterrupt guard_;
};

/// The plan of a single file, whose place and name are the user's.
[[nodiscard]] inline echosieve::FileSetPlan one_file(
    const std::filesystem::path& file, std::vector<std::filesystem::path> inputs = {}) {
    const std::string name = file.filename().string();
    return {file.parent_path(), name, {name}, std::move(inputs)};
}

}  // namespace examples
