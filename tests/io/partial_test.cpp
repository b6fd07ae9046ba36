#include "../../src/io/partial.hpp"

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <string>
#include <vector>

#include "echosieve/io/files.hpp"
#include "folder.hpp"
#include "support/check.hpp"

using namespace echosieve;
using namespace echosieve::detail;
using echosieve::test::Folder;
namespace fs = std::filesystem;

namespace {

std::vector<fs::path> paths_of(std::vector<Partial> found) {
    std::vector<fs::path> paths;
    for (const Partial& one : found) {
        paths.push_back(one.path);
        close_lock(one.lock);
    }
    std::sort(paths.begin(), paths.end());
    return paths;
}

void touch(const fs::path& file) {
    std::ofstream(file) << "x";
}

}  // namespace

TEST_CASE("partial files and folders have names of their own beside what they are to be") {
    const Folder folder("partial");
    const fs::path name = folder.path / "x.csv";
    const Partial a = make_partial_file(name);
    const Partial b = make_partial_file(name);
    const Partial c = make_partial_folder(name);
    CHECK(a.path != b.path);
    for (const Partial& one : {a, b, c}) {
        CHECK(one.path.parent_path() == folder.path);
        const std::string file = one.path.filename().string();
        CHECK(file.starts_with("x.csv."));
        CHECK(file.ends_with(".partial"));
        CHECK(file.size() == std::string("x.csv.").size() + 16 + std::string(".partial").size());
        CHECK(one.lock >= 0);
    }
    CHECK(fs::is_regular_file(a.path));
    CHECK(fs::is_directory(c.path));
    // Names at the file system's limit have room for the ending.
    const Partial long_one = make_partial_file(folder.path / std::string(255, 'y'));
    CHECK(fs::exists(long_one.path));
    for (const Partial& one : {a, b, c, long_one}) {
        close_lock(one.lock);
    }
    CHECK_THROWS_AS(static_cast<void>(make_partial_file(folder.path / "none" / "x")), FileError);
}

TEST_CASE("what is abandoned is taken over: not what is in use, nor what only looks like it") {
    const Folder folder("abandoned");
    const fs::path name = folder.path / "x.csv";
    const Partial in_use = make_partial_file(name);
    const Partial left = make_partial_file(name);
    const Partial left_folder = make_partial_folder(name);
    close_lock(left.lock);
    close_lock(left_folder.lock);
    for (const char* other :
         {"x.csv.partial", "x.csv.0123456789abcde.partial", "x.csv.0123456789abcdeg.partial",
          "x.csv.0123456789ABCDEF.partial", "x.csv.0123456789abcdef.whole",
          "y.csv.0123456789abcdef.partial", "x.csv.00123456789abcdef.partial"}) {
        touch(folder.path / other);
    }
    std::vector<fs::path> expected = {left.path, left_folder.path};
    std::sort(expected.begin(), expected.end());
    CHECK(paths_of(abandoned(name, partial_ending)) == expected);
    CHECK(paths_of(abandoned(name, whole_ending)) ==
          std::vector<fs::path>{folder.path / "x.csv.0123456789abcdef.whole"});
    CHECK(abandoned(folder.path / "none" / "x", partial_ending).empty());
    close_lock(in_use.lock);
    CHECK(paths_of(abandoned(name, partial_ending)).size() == 3);
}

TEST_CASE("a name behind a link is not followed, and a folder that can't be locked is no error") {
    const Folder folder("links");
    const fs::path target = folder.path / "precious";
    touch(target);
    fs::create_symlink(target, folder.path / "x.0123456789abcdef.partial");
    CHECK(abandoned(folder.path / "x", partial_ending).empty());
    CHECK(lock_folder(folder.path / "none") == -1);
    const int lock = lock_folder(folder.path);
    CHECK(lock >= 0);
    close_lock(lock);
    close_lock(-1);
}
