#include "echosieve/io/files.hpp"

#include <cmath>
#include <filesystem>
#include <limits>
#include <string>
#include <vector>

#include "echosieve/core/error.hpp"
#include "echosieve/io/csv.hpp"
#include "folder.hpp"
#include "locale.hpp"
#include "support/check.hpp"

using namespace echosieve;
using namespace echosieve::test;
namespace fs = std::filesystem;

TEST_CASE("a file appears whole or not at all") {
    const Folder folder("atomic");
    const fs::path file = folder.path / "x.txt";
    {
        AtomicFile out(file);
        out.stream() << "half";
        CHECK(!fs::exists(file));
    }
    CHECK(fs::is_empty(folder.path));
    write_bytes(file, "old");
    {
        AtomicFile out(file);
        out.stream() << "half";
        out.stream().flush();
        CHECK(bytes_of(file) == "old");
    }
    CHECK(bytes_of(file) == "old");
    {
        AtomicFile out(file);
        out.stream() << "new";
        out.commit();
        CHECK(bytes_of(file) == "new");
    }
    CHECK(bytes_of(file) == "new");
    CHECK(names_in(folder.path) == std::vector<std::string>{"x.txt"});
}

TEST_CASE("two writers of one name do not meet, the later one stays") {
    const Folder folder("two_writers");
    const fs::path file = folder.path / "x.txt";
    AtomicFile first(file);
    first.stream() << "first";
    AtomicFile second(file);
    second.stream() << "second";
    CHECK(names_in(folder.path).size() == 2);
    second.commit();
    CHECK(bytes_of(file) == "second");
    first.commit();
    CHECK(bytes_of(file) == "first");
    CHECK(names_in(folder.path) == std::vector<std::string>{"x.txt"});
}

TEST_CASE("what a killed writer left is removed by the next one, and nothing else") {
    const Folder folder("abandoned");
    const fs::path file = folder.path / "x.txt";
    const std::vector<std::string> others = {
        "x.txt.0123456789abcdef.part", "x.txt.0123456789abcde.partial",
        "x.txt.0123456789abcdeg.partial", "x.txt.partial", "y.txt.0123456789abcdef.partial"};
    for (const std::string& other : others) {
        write_bytes(folder.path / other, "the user's");
    }
    write_bytes(folder.path / "x.txt.0123456789abcdef.partial", "left over");
    {
        AtomicFile out(file);
        CHECK(!fs::exists(folder.path / "x.txt.0123456789abcdef.partial"));
        out.commit();
    }
    for (const std::string& other : others) {
        CHECK(bytes_of(folder.path / other) == "the user's");
    }
}

TEST_CASE("failures name the file and leave no partial file") {
    const Folder folder("failures");
    CHECK(contains(message_of([&] { AtomicFile(folder.path / "none" / "x.txt"); }), "x.txt: "));
    fs::create_directory(folder.path / "taken");
    CHECK(contains(message_of([&] { AtomicFile(folder.path / "taken"); }),
                   "taken: can't be replaced: it is not a regular file"));
    // Renaming something over a device would take it away from the whole machine.
    CHECK(contains(message_of([&] { AtomicFile("/dev/null"); }), "not a regular file"));
    fs::create_symlink("/dev/null", folder.path / "link");
    CHECK(contains(message_of([&] { AtomicFile(folder.path / "link"); }), "not a regular file"));
    const fs::path file = folder.path / "x.txt";
    write_bytes(file, "old");
    const std::string late = message_of([&] {
        AtomicFile out(file);
        fs::remove(file);
        fs::create_directories(file / "inside");
        out.commit();
    });
    CHECK(contains(late, "x.txt: can't be renamed"));
    fs::remove_all(file);
    write_bytes(file, "old");
    const std::string full = message_of([&] {
        const FullDisk disk(5000);
        AtomicFile out(file);
        out.stream() << std::string(100000, 'x');
        out.commit();
    });
    CHECK(contains(full, "x.txt: writing failed"));
    CHECK(bytes_of(file) == "old");
    CHECK(names_in(folder.path) == std::vector<std::string>{"link", "taken", "x.txt"});
}

TEST_CASE("names of any length and any bytes can be written, and are named legibly") {
    const Folder folder("names");
    for (const std::string& name :
         {std::string(255, 'n'), std::string("\xC3\xA4 \xFF\n\x1B[31m.txt")}) {
        AtomicFile out(folder.path / name);
        out.stream() << 1;
        out.commit();
        CHECK(bytes_of(folder.path / name) == "1");
    }
    CHECK(printable("a\tb\x7F") == "a\\x09b\\x7F");
    CHECK(printable("\xC3\xA4\xE2\x82\xAC\xF0\x9F\x98\x80") ==
          "\xC3\xA4\xE2\x82\xAC\xF0\x9F\x98\x80");
    // Cut short, not the shortest form, half a surrogate pair, beyond the last character.
    CHECK(printable("\xC3") == "\\xC3");
    CHECK(printable("\xC0\xAF") == "\\xC0\\xAF");
    CHECK(printable("\xE0\x80\xAF") == "\\xE0\\x80\\xAF");
    CHECK(printable("\xED\xA0\x80") == "\\xED\\xA0\\x80");
    CHECK(printable("\xF4\x90\x80\x80") == "\\xF4\\x90\\x80\\x80");
    CHECK(std::string(FileError("b\xFF.npy", "is empty").what()) == "b\\xFF.npy: is empty");
}

TEST_CASE("tables are written with the stated digits, in any locale") {
    const Folder folder("csv");
    const fs::path file = folder.path / "x.csv";
    const GlobalLocale continental;
    CsvWriter table(file, {{"time_s", 6}, {"depth_m"}, {"valid", 0}});
    const double nan = std::numeric_limits<double>::quiet_NaN();
    table.row({0, 0.0123456789, 1});
    table.row({1234.5, nan, 0});
    table.row({-0.25, std::copysign(nan, -1.0), 1});
    table.row({1e-9, std::numeric_limits<double>::infinity(), 12345});
    CHECK(!fs::exists(file));
    table.commit();
    CHECK(bytes_of(file) ==
          "time_s,depth_m,valid\n"
          "0.000000,0.012345679,1\n"
          "1234.500000,nan,0\n"
          "-0.250000,nan,1\n"
          "0.000000,inf,12345\n");
}

TEST_CASE("tables that readers would misread are refused") {
    const Folder folder("csv_refused");
    const fs::path file = folder.path / "x.csv";
    {
        CsvWriter table(file, {{"a"}, {"b"}});
        CHECK_THROWS_AS(table.row({1}), InvalidInput);
        CHECK_THROWS_AS(table.row({1, 2, 3}), InvalidInput);
    }
    for (const char* name : {"a,b", "a\nb", "a\"b"}) {
        CHECK_THROWS_AS(CsvWriter(file, {{name}}), InvalidInput);
    }
    for (const int decimals : {-1, 18}) {
        CHECK_THROWS_AS(CsvWriter(file, {{"a", decimals}}), InvalidInput);
    }
    CHECK_THROWS_AS(CsvWriter(folder.path / "none" / "x.csv", {{"a"}}), FileError);
    CHECK(fs::is_empty(folder.path));
}
