#include "echosieve/io/files.hpp"

#include <sys/inotify.h>
#include <sys/wait.h>
#include <unistd.h>

#include <array>
#include <filesystem>
#include <string>
#include <vector>

#include "echosieve/core/error.hpp"
#include "folder.hpp"
#include "support/check.hpp"

using namespace echosieve;
using namespace echosieve::test;
namespace fs = std::filesystem;

namespace {

using Names = std::vector<std::string>;

FileSetPlan plan_in(const fs::path& folder, std::vector<fs::path> inputs = {}) {
    return {folder, "tool", {"a.csv", "sub/b.png", "c.npy", "mark.json"}, std::move(inputs)};
}

void write_set(const fs::path& folder, const Names& files, const std::string& text) {
    FileSet set(plan_in(folder));
    for (const std::string& file : files) {
        write_bytes(set.stage(file), text);
    }
    set.commit();
}

// Runs `act` in a process that is gone afterwards as if it had been killed: no destructor is run.
template <class Act>
void run_and_kill(Act act) {
    const pid_t child = fork();
    if (child == 0) {
        act();
        _exit(0);
    }
    int status = 0;
    waitpid(child, &status, 0);
    REQUIRE(WIFEXITED(status));
}

// Names that are moved out of a folder, and into it, in the order in which that happens.
class MoveWatch {
public:
    explicit MoveWatch(const fs::path& folder) : watch_(inotify_init1(IN_NONBLOCK)) {
        inotify_add_watch(watch_, folder.c_str(), IN_MOVED_FROM | IN_MOVED_TO);
    }
    ~MoveWatch() { close(watch_); }
    MoveWatch(const MoveWatch&) = delete;
    MoveWatch& operator=(const MoveWatch&) = delete;

    [[nodiscard]] Names moves() const {
        Names names;
        alignas(inotify_event) std::array<char, 65536> events{};
        const ssize_t bytes = read(watch_, events.data(), events.size());
        for (ssize_t place = 0; place < bytes;) {
            const auto* event = reinterpret_cast<const inotify_event*>(events.data() + place);
            const std::string name = event->name;
            if (!name.starts_with('.')) {  // hidden folders
                names.push_back(((event->mask & IN_MOVED_TO) != 0 ? "in " : "out ") + name);
            }
            place += static_cast<ssize_t>(sizeof(inotify_event) + event->len);
        }
        return names;
    }

private:
    int watch_;
};

}  // namespace

TEST_CASE("the mark of a set is the first to go and the last to come") {
    const Folder folder("mark");
    write_set(folder.path, {"a.csv", "c.npy", "mark.json"}, "old");
    FileSet set(plan_in(folder.path));
    for (const char* file : {"a.csv", "c.npy", "mark.json"}) {
        write_bytes(set.stage(file), "new");
    }
    const MoveWatch watch(folder.path);
    set.commit();
    CHECK(watch.moves() ==
          Names{"out mark.json", "out c.npy", "out a.csv", "in a.csv", "in c.npy", "in mark.json"});
}

TEST_CASE("a set replaces the earlier one as a whole") {
    const Folder folder("set");
    const fs::path place = folder.path / "made" / "here";
    write_set(place, {"a.csv", "sub/b.png", "c.npy", "mark.json"}, "first");
    CHECK(names_in(place) == Names{"a.csv", "c.npy", "mark.json", "sub"});
    CHECK(bytes_of(place / "sub" / "b.png") == "first");
    write_bytes(place / "other.txt", "the user's");
    write_set(place, {"a.csv", "mark.json"}, "second");
    CHECK(bytes_of(place / "a.csv") == "second");
    CHECK(bytes_of(place / "mark.json") == "second");
    CHECK(!fs::exists(place / "c.npy"));
    CHECK(!fs::exists(place / "sub" / "b.png"));
    CHECK(bytes_of(place / "other.txt") == "the user's");
    CHECK(names_in(place) == Names{"a.csv", "mark.json", "other.txt", "sub"});
}

TEST_CASE("a set that is given up leaves everything as it was") {
    const Folder folder("given_up");
    const fs::path place = folder.path / "a" / "b";
    {
        FileSet set(plan_in(place));
        write_bytes(set.stage("a.csv"), "half");
        CHECK(fs::exists(set.hidden_folder()));
        CHECK(!set.stands("a.csv"));
        CHECK_THROWS_AS(static_cast<void>(set.stage("other")), InvalidInput);
    }
    CHECK(fs::is_empty(folder.path));
    write_set(place, {"a.csv", "mark.json"}, "old");
    {
        FileSet set(plan_in(place));
        write_bytes(set.stage("a.csv"), "half");
        CHECK(set.stands("mark.json"));
    }
    CHECK(names_in(place) == Names{"a.csv", "mark.json"});
    CHECK(bytes_of(place / "a.csv") == "old");
}

TEST_CASE("an input is never replaced, whatever leads to it") {
    const Folder folder("inputs");
    const fs::path input = folder.path / "c.npy";
    write_bytes(input, "recording");
    const auto says = [](const FileSetPlan& plan) {
        return message_of([&] { const FileSet set(plan); });
    };
    CHECK(contains(says(plan_in(folder.path, {input})), "is the input"));
    CHECK(contains(says(plan_in(folder.path / "." / "..", {})), "no FileError"));
    CHECK(contains(says(plan_in(folder.path / "new" / "..", {input})), "no FileError"));
    fs::create_directory(folder.path / "new");
    CHECK(contains(says(plan_in(folder.path / "new" / "..", {input})), "is the input"));
    fs::create_symlink(folder.path, folder.path / "linked");
    CHECK(contains(says(plan_in(folder.path / "linked", {input})), "is the input"));
    for (const bool hard : {false, true}) {
        const fs::path there = folder.path / (hard ? "hard" : "soft");
        fs::create_directory(there);
        hard ? fs::create_hard_link(input, there / "a.csv")
             : fs::create_symlink(input, there / "a.csv");
        CHECK(contains(says(plan_in(there, {input})), "a.csv: would be replaced"));
        // The link is the input, and its file the one that a result would take the place of.
        CHECK(contains(says(plan_in(folder.path, {there / "a.csv"})), "c.npy: would be replaced"));
    }
    CHECK(bytes_of(input) == "recording");
    CHECK(contains(message_of([&] { refuse_to_replace(input, {"other", input}); }), "input"));
    CHECK_NOTHROW(refuse_to_replace(folder.path / "none", {input, folder.path / "none"}));
}

TEST_CASE("what is no file, or no folder, is refused before any work") {
    const Folder folder("refused");
    fs::create_directory(folder.path / "c.npy");
    CHECK(contains(message_of([&] { const FileSet set(plan_in(folder.path)); }),
                   "c.npy: can't be replaced: it is not a regular file"));
    write_bytes(folder.path / "file", "");
    CHECK(contains(message_of([&] { const FileSet set(plan_in(folder.path / "file")); }),
                   "file: is not a folder"));
    CHECK(contains(message_of([&] { const FileSet set(plan_in(folder.path / "file" / "x")); }),
                   "the folder can't be made"));
    CHECK(names_in(folder.path) == Names{"c.npy", "file"});
}

TEST_CASE("a set that can't be put in place brings the earlier one back") {
    const Folder folder("back");
    write_set(folder.path, {"a.csv", "c.npy", "mark.json"}, "old");
    FileSet set(plan_in(folder.path));
    for (const char* file : {"a.csv", "sub/b.png", "mark.json"}) {
        write_bytes(set.stage(file), "new");
    }
    fs::remove_all(folder.path / "sub");
    write_bytes(folder.path / "sub", "a file where a folder must be");
    CHECK(contains(message_of([&] { set.commit(); }), "can't be put in place"));
    for (const char* file : {"a.csv", "c.npy", "mark.json"}) {
        CHECK(bytes_of(folder.path / file) == "old");
    }
}

TEST_CASE("what a killed set left is removed, that of a living one stays") {
    const Folder folder("killed");
    write_set(folder.path, {"a.csv", "mark.json"}, "old");
    run_and_kill([&] {
        auto* set = new FileSet(plan_in(folder.path));
        write_bytes(set->stage("a.csv"), "half");
    });
    CHECK(names_in(folder.path).size() == 3);
    FileSet living(plan_in(folder.path));
    CHECK(names_in(folder.path).size() == 3);
    write_bytes(living.stage("a.csv"), "living");
    write_bytes(living.stage("mark.json"), "living");
    { const FileSet third(plan_in(folder.path)); }
    living.commit();
    CHECK(bytes_of(folder.path / "a.csv") == "living");
    CHECK(names_in(folder.path) == Names{"a.csv", "mark.json"});
}

TEST_CASE("a set killed while it is put in place is ended by the next one") {
    const Folder folder("ended");
    const fs::path hidden = folder.path / ".tool.0123456789abcdef.whole";
    // However far it came: moved away first are the earlier files, the mark before all others.
    for (int done = 0; done <= 6; ++done) {
        for (const auto& entry : fs::directory_iterator(folder.path)) {
            fs::remove_all(entry);
        }
        write_set(folder.path, {"a.csv", "c.npy", "mark.json"}, "old");
        for (const char* part : {"new/sub", "old", "missing"}) {
            fs::create_directories(hidden / part);
        }
        for (const char* file : {"new/a.csv", "new/sub/b.png", "new/mark.json"}) {
            write_bytes(hidden / file, "new");
        }
        write_bytes(hidden / "missing" / "c.npy", "");
        fs::create_directory(folder.path / "sub");
        auto step = [left = done](const fs::path& from, const fs::path& to) mutable {
            if (left-- > 0) {
                fs::rename(from, to);
            }
        };
        step(folder.path / "mark.json", hidden / "old" / "mark.json");
        step(folder.path / "c.npy", hidden / "old" / "c.npy");
        step(folder.path / "a.csv", hidden / "old" / "a.csv");
        step(hidden / "new" / "a.csv", folder.path / "a.csv");
        step(hidden / "new" / "sub" / "b.png", folder.path / "sub" / "b.png");
        step(hidden / "new" / "mark.json", folder.path / "mark.json");
        CAPTURE(done);
        { const FileSet next(plan_in(folder.path)); }
        for (const char* file : {"a.csv", "sub/b.png", "mark.json"}) {
            CHECK(bytes_of(folder.path / file) == "new");
        }
        CHECK(names_in(folder.path) == Names{"a.csv", "mark.json", "sub"});
    }
}
