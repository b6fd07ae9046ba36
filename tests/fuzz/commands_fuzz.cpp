// Command lines of the example programs, and the files that they read besides recordings: any
// words, any summary, any table. Nothing may come out but a status and a sentence, and no input be
// changed.
#include <unistd.h>

#include <array>
#include <cstddef>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "echosieve/core/random.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/io/recording_file.hpp"
#include "refused.hpp"

// The programs' main functions, under other names: see CMakeLists.txt.
int track_artery_main(int argc, char** argv);
int compare_with_truth_main(int argc, char** argv);
int plan_measurement_main(int argc, char** argv);

using namespace echosieve;
using namespace echosieve::fuzz;

namespace {

namespace fs = std::filesystem;

/// Words of the standard library, the parsers and Eigen.
constexpr std::array<std::string_view, 8> raw_texts = {
    "std::", "vector::", "basic_string", "bad_alloc", "stod", "stoi", "json.exception", "Eigen"};

std::string contents(const fs::path& file) {
    std::ifstream in(file, std::ios::binary);
    return {std::istreambuf_iterator<char>(in), {}};
}

void fill(const fs::path& file, std::string_view text) {
    std::ofstream(file, std::ios::binary) << text;
}

/// A folder in memory to work in, with a recording that is soon followed to its end.
class Desk {
public:
    Desk() : folder_("/dev/shm/echosieve_fuzz_" + std::to_string(getpid())) {
        fs::create_directories(folder_);
        fs::current_path(folder_);
        FrameMatrix<std::int16_t> frames(70, 160);
        RandomStream random(1);
        for (std::size_t i = 0; i < frames.frames(); ++i) {
            for (std::int16_t& x : frames[i]) {
                x = static_cast<std::int16_t>(300 * random.normal());
            }
        }
        write_recording({{12e6, 100, 6.5e-6, {4e6, 1e6, {}}, 1540}, std::move(frames)}, "a.npy");
        samples_ = contents("a.npy");
        settings_ = contents("a.json");
    }
    ~Desk() {
        std::error_code ignored;
        fs::current_path("/", ignored);
        fs::remove_all(folder_, ignored);
    }
    Desk(const Desk&) = delete;
    Desk& operator=(const Desk&) = delete;

    void check_inputs() const {
        hold(contents("a.npy") == samples_, "the recording was changed");
        hold(contents("a.json") == settings_, "its settings were changed");
    }
    /// Takes away what a run has left.
    void tidy() const {
        for (const auto& entry : fs::directory_iterator(".")) {
            const std::string name = entry.path().filename().string();
            if (name != "a.npy" && name != "a.json") {
                std::error_code ignored;
                fs::remove_all(entry.path(), ignored);
            }
        }
    }

private:
    fs::path folder_;
    std::string samples_;
    std::string settings_;
};

/// Words of a line, which can't lead out of the folder.
std::vector<std::string> words_of(std::string_view line) {
    std::vector<std::string> words(1);
    for (char c : line) {
        if (c == '\n' || c == '\0') {
            words.emplace_back();
        } else {
            words.back() += c == '/' ? '_' : c;
        }
    }
    for (std::string& word : words) {
        if (word == "..") {
            word = "__";
        }
    }
    return words;
}

using Program = int (*)(int, char**);

/// What programs say in error. The descriptor stays as it is, for the sanitisers and the fuzzer
/// itself.
class Heard {
public:
    Heard() : file_(open_memstream(&text_, &size_)) {
        hold(file_ != nullptr, "nothing can be heard");
        std::swap(stderr, file_);
    }
    ~Heard() {
        std::swap(stderr, file_);
        std::fclose(file_);
        std::free(text_);
    }
    Heard(const Heard&) = delete;
    Heard& operator=(const Heard&) = delete;

    [[nodiscard]] std::string text() const {
        std::fflush(stderr);
        return {text_, size_};
    }

private:
    char* text_ = nullptr;
    std::size_t size_ = 0;
    std::FILE* file_;
};

/// Runs it, and looks at its status and at what it says; `given` is what it may repeat.
void run(Program program, std::vector<std::string> words, std::string_view given) {
    words.insert(words.begin(), "program");
    std::vector<char*> arguments;
    for (std::string& word : words) {
        arguments.push_back(word.data());
    }
    arguments.push_back(nullptr);
    int status = 0;
    std::string said;
    {
        const Heard heard;
        status = program(static_cast<int>(words.size()), arguments.data());
        said = heard.text();
    }
    hold(status >= 0 && status <= 2, "a status that is none of 0, 1 and 2");
    hold(status != 1 || said.size() > 20, "refused without a word");
    for (const std::string_view raw : raw_texts) {
        if (said.find(raw) != std::string::npos && given.find(raw) == std::string_view::npos) {
            std::fprintf(stderr, "finding: raw text of a library: %s\n", said.c_str());
            std::abort();
        }
    }
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    static const Desk desk;
    if (size == 0) {
        return 0;
    }
    const std::string_view text(reinterpret_cast<const char*>(data) + 1, size - 1);
    switch (data[0] % 4) {
        case 0: {
            std::vector<std::string> words = words_of(text);
            words.insert(words.begin(), {"a.npy", "--no-pictures"});
            run(track_artery_main, words, text);
            break;
        }
        case 1:
            fill("summary.json", text);
            run(track_artery_main, {"a.npy", "--no-pictures", "--settings", "summary.json"}, text);
            break;
        case 2: {
            const std::size_t middle = std::min(text.find('\0'), text.size());
            fill("motion.csv", text.substr(0, middle));
            fill("truth.csv", middle < text.size() ? text.substr(middle + 1) : "");
            run(compare_with_truth_main, {"motion.csv", "truth.csv"}, text);
            break;
        }
        default:
            run(plan_measurement_main, words_of(text), text);
    }
    desk.check_inputs();
    desk.tidy();
    return 0;
}
