// Pursuits over a plain matrix, signal by signal and many at a time: any columns and samples.
#include <Eigen/Core>
#include <complex>
#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

#include "echoes.hpp"
#include "echosieve/dictionary/matrix_dictionary.hpp"
#include "echosieve/pursuit/detail/compiled.hpp"
#include "echosieve/pursuit/gram_pursuit.hpp"
#include "echosieve/pursuit/pursue.hpp"
#include "input.hpp"
#include "refused.hpp"

using namespace echosieve;
using namespace echosieve::fuzz;

namespace {

template <Sample T>
using Matrix = Eigen::Matrix<T, Eigen::Dynamic, Eigen::Dynamic>;

template <Sample T>
Matrix<T> any_matrix(FuzzInput& in, Eigen::Index rows, Eigen::Index columns) {
    const std::vector<T> values = any_samples<T>(in, static_cast<std::size_t>(rows * columns));
    return Eigen::Map<const Matrix<T>>(values.data(), rows, columns);
}

template <Sample T>
void run(FuzzInput& in) {
    const auto rows = static_cast<Eigen::Index>(in.count(0, 24));
    const auto columns = static_cast<Eigen::Index>(in.count(0, 40));
    Matrix<T> dictionary = any_matrix<T>(in, rows, columns);
    if (in.byte() < 240) {
        dictionary.colwise().normalize();
    }
    if (columns > 1 && in.byte() < 64) {  // columns that depend on each other
        dictionary.col(1) = dictionary.col(0);
    }
    const std::size_t atoms = in.number_of(12);
    const Stop stop = any_stop(in);
    const bool wrong_rows = in.byte() >= 250;
    const Matrix<T> signals =
        any_matrix<T>(in, wrong_rows ? rows + 1 : rows, static_cast<Eigen::Index>(in.count(0, 40)));
    static_cast<void>(accepted([&] {
        GramPursuit<T> pursuit(dictionary, atoms);
        GramPursuitResult<T> found;
        for (int k = 0; k < 2; ++k) {
            pursuit.run(signals, stop, found);
        }
        hold(found.counts.size() == static_cast<std::size_t>(signals.cols()), "a signal is lost");
        for (Eigen::Index t = 0; t < signals.cols(); ++t) {
            for (std::size_t k = 0; k < found.counts[static_cast<std::size_t>(t)]; ++k) {
                const Eigen::Index column = found.columns(static_cast<Eigen::Index>(k), t);
                hold(column >= 0 && column < columns, "a column that is none");
            }
        }
    }));
    static_cast<void>(accepted([&] {
        MatrixDictionary<T> source(dictionary);
        PursuitEngine<MatrixDictionary<T>> engine;
        typename PursuitEngine<MatrixDictionary<T>>::Result found;
        for (Eigen::Index t = 0; t < signals.cols(); ++t) {
            const std::span<const T> signal(signals.col(t).data(),
                                            static_cast<std::size_t>(signals.rows()));
            if (t % 2 == 0) {
                engine.run(signal, source, Orthogonal{.atoms = atoms}, stop, found);
            } else {
                engine.run(signal, source, Greedy{.atoms = atoms % 64}, stop, found);
            }
        }
    }));
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    FuzzInput in(data, size);
    switch (in.byte() % 3) {
        case 0:
            run<float>(in);
            break;
        case 1:
            run<double>(in);
            break;
        default:
            run<std::complex<float>>(in);
    }
    return 0;
}
