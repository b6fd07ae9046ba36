// Takes many signals apart over a dictionary of your own: orthogonal pursuit by the Gram matrix.
#include <CLI/CLI.hpp>
#include <Eigen/Core>
#include <chrono>
#include <cstdio>
#include <exception>
#include <string>
#include <variant>

#include "echosieve/io/csv.hpp"
#include "echosieve/io/npy.hpp"
#include "echosieve/pursuit/gram_pursuit.hpp"

namespace {

// A .npy file's rows as the rows of a matrix in double.
Eigen::MatrixXd matrix_of(const std::string& file) {
    return std::visit(
        [](const auto& frames) {
            Eigen::MatrixXd out(frames.frames(), frames.samples());
            for (std::size_t i = 0; i < frames.frames(); ++i) {
                const auto row = frames.view()[i];
                for (std::size_t n = 0; n < row.size(); ++n) {
                    out(static_cast<Eigen::Index>(i), static_cast<Eigen::Index>(n)) =
                        static_cast<double>(row[n]);
                }
            }
            return out;
        },
        echosieve::read_npy(file));
}

}  // namespace

int main(int argc, char** argv) try {
    using Clock = std::chrono::steady_clock;
    CLI::App app{
        "Orthogonal pursuit of many signals over a dictionary of your own.\n"
        "Research use: not a medical device, not for diagnosis."};
    std::string atoms_file, signals_file, out;
    std::size_t atoms = 10;
    app.add_option("DICTIONARY.npy", atoms_file, "Atoms x samples; scaled to unit norm")
        ->required();
    app.add_option("SIGNALS.npy", signals_file, "Signals x samples")->required();
    app.add_option("--atoms", atoms, "Of each signal")->capture_default_str();
    app.add_option("--out", out, "CSV file: signal, order, atom, coefficient");
    CLI11_PARSE(app, argc, argv);
    Eigen::MatrixXd columns = matrix_of(atoms_file).transpose();
    columns.colwise().normalize();
    const Eigen::MatrixXd signals = matrix_of(signals_file).transpose();
    const auto start = Clock::now();
    echosieve::GramPursuit<double> pursuit(columns, atoms);
    const auto ready = Clock::now();
    echosieve::GramPursuitResult<double> result;
    pursuit.run(signals, {}, result);
    const std::chrono::duration<double> set_up = ready - start;
    const std::chrono::duration<double> took = Clock::now() - ready;
    std::printf(
        "Set-up %.3f ms, then %.3f us a signal, %td signals; energy left %.4f in the mean.\n",
        1e3 * set_up.count(), 1e6 * took.count() / static_cast<double>(signals.cols()),
        signals.cols(), (result.residual_energy / result.signal_energy).mean());
    if (!out.empty()) {
        echosieve::CsvWriter table(out,
                                   {{"signal", 0}, {"order", 0}, {"atom", 0}, {"coefficient", 12}});
        for (Eigen::Index t = 0; t < signals.cols(); ++t) {
            for (std::size_t k = 0; k < result.counts[static_cast<std::size_t>(t)]; ++k) {
                const auto row = static_cast<Eigen::Index>(k);
                table.row({static_cast<double>(t), static_cast<double>(k),
                           static_cast<double>(result.columns(row, t)),
                           result.coefficients(row, t)});
            }
        }
        table.commit();
    }
    return 0;
} catch (const std::exception& problem) {
    std::fprintf(stderr, "decompose_batch: %s\n", problem.what());
    return 1;
}
