#include "support/option_json.hpp"

#include <cstddef>
#include <nlohmann/json.hpp>
#include <string>
#include <type_traits>
#include <variant>
#include <vector>

#include "echosieve/io/files.hpp"
#include "io/folder.hpp"
#include "support/check.hpp"
#include "support/option_fields.hpp"

using namespace echosieve;
using namespace echosieve::test;
using examples::RunOptions;

namespace {

struct Inner {
    double one = 1;
    std::vector<double> two = {1, 2};
};
struct Outer {
    Inner inner;
    bool flag = false;
    Smoothing smoothing = NoSmoothing{};
    std::size_t count = 3;
};
struct Empty {};

// A table that lacks a member does not compile: this is what it counts.
static_assert(examples::member_count<Empty>() == 0);
static_assert(examples::member_count<Inner>() == 2);
static_assert(examples::member_count<Outer>() == 4);

// Another value than the one an option has.
void change(double& value) {
    value = std::isfinite(value) ? value * 1.25 + 1.0 / 3 : 0.0321;
}
void change(bool& value) {
    value = !value;
}
void change(WallLayer& value) {
    value = value == WallLayer::outer ? WallLayer::inner : WallLayer::outer;
}
void change(Smoothing& value) {
    value = GaussianSmoothing{1e-3 / 3};
}
template <class T>
requires std::is_integral_v<T>
void change(T& value) {
    value = static_cast<T>(value + 7);
}
template <class T>
requires requires(T& values) { values.begin(); }
void change(T& values) {
    for (auto& value : values) {
        change(value);
    }
}

RunOptions changed() {
    RunOptions run;
    examples::visit_options(run.options, [](const std::string&, auto& value) { change(value); });
    run.in_blocks = true;
    run.pulse_delay = 1e-7 / 3;
    return run;
}

std::string text_of(const RunOptions& run) {
    nlohmann::ordered_json object;
    examples::write_run(run, object);
    return object.dump();
}

}  // namespace

TEST_CASE("every option of a run is written if it differs, and comes back to the last bit") {
    const Folder folder("options");
    const auto file = folder.path / "summary.json";
    std::size_t options = 0;
    const RunOptions run = changed();
    examples::visit_options(run.options, [&](const std::string&, const auto&) { ++options; });
    CHECK(options > 130);
    const auto written = nlohmann::json::parse(text_of(run));
    CHECK(written["options"].size() == options + 2);
    CHECK(written["options"].contains("track.walls.near_range.from"));
    CHECK(written["options"].contains("track.separation.model.wall_powers"));
    write_bytes(file, text_of(run));
    CHECK(text_of(examples::read_run(file)) == text_of(run));
    // Nothing differs, nothing is written.
    write_bytes(file, text_of({}));
    CHECK(nlohmann::json::parse(text_of({}))["options"].empty());
    CHECK(!examples::read_run(file).in_blocks);
    CHECK(!examples::read_run(file).pulse_delay);
}

TEST_CASE("each option alone is written, by its own name") {
    std::vector<std::string> names;
    const RunOptions usual;
    examples::visit_options(usual.options,
                            [&](const std::string& name, const auto&) { names.push_back(name); });
    for (const std::string& name : names) {
        RunOptions run;
        examples::visit_options(run.options, [&](const std::string& other, auto& value) {
            if (other == name) {
                change(value);
            }
        });
        const auto options = nlohmann::json::parse(text_of(run))["options"];
        CAPTURE(name);
        CHECK(options.size() == 1);
        CHECK(options.contains(name));
    }
}

TEST_CASE("every kind of smoothing and infinite limits come back") {
    const Folder folder("smoothing");
    const auto file = folder.path / "summary.json";
    RunOptions run;
    run.options.track.walls.near_range = {0.01, 0.02};
    for (const Smoothing& smoothing : {Smoothing{NoSmoothing{}}, Smoothing{MovingAverage{31}},
                                       Smoothing{GaussianSmoothing{2}}}) {
        run.options.track.smoothing = smoothing;
        write_bytes(file, text_of(run));
        CHECK(text_of(examples::read_run(file)) == text_of(run));
        CHECK(examples::read_run(file).options.track.smoothing.index() == smoothing.index());
    }
    write_bytes(file,
                R"({"format": 2, "options": {"track.walls.near_range.to": "inf",
                    "track.frames.deviations": "inf", "track.frames.energy_range": "nan"}})");
    const auto back = examples::read_run(file).options.track;
    CHECK(std::isinf(back.walls.near_range.to));
    CHECK(std::isinf(back.frames.deviations));
    CHECK(std::isnan(back.frames.energy_range));
}

TEST_CASE("options that can't be read are refused, by name and value") {
    const Folder folder("bad_options");
    const auto file = folder.path / "summary.json";
    const auto says = [&](const std::string& text) {
        write_bytes(file, text);
        return message_of([&] { static_cast<void>(examples::read_run(file)); });
    };
    const auto options = [&](const std::string& text) {
        return says(R"({"format": 2, "options": )" + text + "}");
    };
    CHECK(options("{}") == "no FileError was thrown");
    CHECK(contains(says("{}"), "field 'format' must be 2"));
    CHECK(contains(says(R"({"format": 1, "options": {}})"), "field 'format' must be 2"));
    CHECK(contains(says(R"({"format": 2})"), "field 'options' is missing"));
    CHECK(contains(options("[]"), "field 'options' is missing, or no object"));
    CHECK(contains(options(R"({"track.wals.dead_zone": 1})"),
                   "option 'track.wals.dead_zone' is unknown"));
    CHECK(
        contains(options(R"({"length": "long"})"), "option 'length' = \"long\": must be a number"));
    CHECK(contains(options(R"({"confirmations": 1.5})"), "must be a whole number"));
    CHECK(contains(options(R"({"confirmations": -1})"), "must be a whole number"));
    CHECK(contains(options(R"({"confirmations": 4294967297})"), "must be a whole number"));
    CHECK(contains(options(R"({"track.pulse.estimate": 1})"), "must be true or false"));
    CHECK(contains(options(R"({"track.smoothing": "much"})"), "must be \"none\""));
    CHECK(contains(options(R"({"track.smoothing": {"average_frames": 0.5}})"), "whole number"));
    CHECK(contains(options(R"({"track.separation.reference.layer": "middle"})"), "\"outer\""));
    CHECK(contains(options(R"({"track.confidence.weights": [1, 2]})"), "as many numbers"));
    CHECK(contains(options(R"({"track.separation.model.wall_powers": 3})"), "a list of numbers"));
    CHECK(contains(options(R"({"track.separation.model.wall_powers": ["x"]})"), "a number"));
    CHECK(contains(options(R"({"in_blocks": 1})"), "must be true or false"));
    CHECK(contains(options(R"({"pulse_delay": "x"})"), "must be a number"));
}
