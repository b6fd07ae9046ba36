// dictionary: boxes of atoms, grids over them, plain matrices.
#include <Eigen/Core>
#include <cstddef>
#include <vector>

#include "bad_input.hpp"
#include "echosieve/dictionary/atom_box.hpp"
#include "echosieve/dictionary/detail/gabor_grid.hpp"
#include "echosieve/dictionary/matrix_dictionary.hpp"

namespace echosieve::test {
namespace {

const GaborBox good_box{{20e-6, 30e-6}, {3.6e6, 4.4e6}, {0.9e6, 1.1e6}};

void boxes(BadInputs& out) {
    for (const double bad : {-0.1, 1.0, not_a_number, infinite}) {
        out.add("GaborBox::around", "spread", bad, [=] {
            static_cast<void>(GaborBox::around({4e6, 1e6, {}}, bad, {20e-6, 30e-6}));
        });
    }
    out.add("GaborBox::around", "bandwidth", 0, [] {
        static_cast<void>(GaborBox::around({4e6, 0, {}}, 0.1, {20e-6, 30e-6}));
    });
    out.add("GaborBox::around", "gate.end", 10e-6, [] {
        static_cast<void>(GaborBox::around({4e6, 1e6, {}}, 0.1, {20e-6, 10e-6}));
    });
    const auto changed = [&](const char* argument, double value, auto change) {
        GaborBox box = good_box;
        change(box, value);
        out.add("validate(GaborBox)", argument, value, [=] { validate(box); });
        out.add("gabor_grid", argument, value, [=] { static_cast<void>(gabor_grid(box)); });
    };
    for (const double bad : {not_a_number, -infinite}) {
        changed("gate.begin", bad, [](GaborBox& box, double x) { box.arrival.begin = x; });
        changed("centre_frequency.lower", bad,
                [](GaborBox& box, double x) { box.centre_frequency.lower = x; });
    }
    for (const double bad : {not_a_number, infinite, 3e6}) {
        changed("centre_frequency.upper", bad,
                [](GaborBox& box, double x) { box.centre_frequency.upper = x; });
    }
    for (const double bad : {not_a_number, infinite, 0.5e6}) {
        changed("bandwidth.upper", bad, [](GaborBox& box, double x) { box.bandwidth.upper = x; });
    }
    for (const double bad : {not_a_number, 0.0, -1e6}) {
        changed("bandwidth.lower", bad, [](GaborBox& box, double x) { box.bandwidth.lower = x; });
    }
    for (const double bad : {not_a_number, infinite}) {
        out.add("validate(ChirpedGaborBox)", "chirp_rate.lower", bad, [=] {
            validate(ChirpedGaborBox{
                good_box.arrival, good_box.centre_frequency, good_box.bandwidth, {bad, 1e11}});
        });
        out.add("validate(ChirpedGaborBox)", "chirp_rate.upper", bad, [=] {
            validate(ChirpedGaborBox{
                good_box.arrival, good_box.centre_frequency, good_box.bandwidth, {0, bad}});
        });
    }
}

void grids(BadInputs& out) {
    for (const double bad : {0.0, 1.0, -0.1, not_a_number, infinite}) {
        out.add("gabor_grid", "loss", bad, [=] { static_cast<void>(gabor_grid(good_box, bad)); });
    }
}

void matrices(BadInputs& out) {
    const auto dictionary = [](const Eigen::MatrixXd& columns) {
        return [=] { static_cast<void>(MatrixDictionary<double>(columns)); };
    };
    out.add("MatrixDictionary", "rows of the dictionary", 0, dictionary(Eigen::MatrixXd(0, 3)));
    out.add("MatrixDictionary", "columns of the dictionary", 0, dictionary(Eigen::MatrixXd(3, 0)));
    Eigen::MatrixXd columns = Eigen::MatrixXd::Identity(3, 3);
    for (const double bad : {0.0, 2.0, not_a_number, infinite}) {
        columns(1, 1) = bad;
        out.add("MatrixDictionary", "norm of column 1", bad, dictionary(columns));
    }
    for (const double bad : {0.0, 1.0, not_a_number}) {
        out.add("MatrixDictionary::false_alarm_threshold", "probability", bad, [=] {
            static_cast<void>(MatrixDictionary<double>(Eigen::MatrixXd::Identity(3, 3))
                                  .false_alarm_threshold(bad));
        });
    }
}

}  // namespace

BadInputs dictionary_cases() {
    BadInputs out;
    boxes(out);
    grids(out);
    matrices(out);
    return out;
}

}  // namespace echosieve::test
