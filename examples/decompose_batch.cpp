// Takes many signals apart over a dictionary of your own: orthogonal pursuit by the Gram matrix.
#include <Eigen/Core>
#include <chrono>
#include <cmath>
#include <cstdio>
#include <filesystem>
#include <optional>
#include <string>

#include "echosieve/io/csv.hpp"
#include "echosieve/io/files.hpp"
#include "echosieve/pursuit/gram_pursuit.hpp"
#include "support/command_line.hpp"
#include "support/matrix_file.hpp"
#include "support/options.hpp"
#include "support/results.hpp"

namespace {

// The dictionary's atoms as columns of unit norm.
Eigen::MatrixXd unit_atoms(const std::string& file) {
    Eigen::MatrixXd atoms = examples::matrix_of(file).transpose();
    for (Eigen::Index k = 0; k < atoms.cols(); ++k) {
        const double norm = atoms.col(k).norm();
        if (!(norm > 0 && std::isfinite(norm))) {
            throw echosieve::FileError(
                file, "atom " + std::to_string(k) + " must be finite and have energy");
        }
        atoms.col(k) /= norm;
    }
    return atoms;
}

struct Orders {
    std::string atoms_file;
    std::string signals_file;
    std::string out;
    std::size_t atoms = 10;
};

void write_table(const echosieve::GramPursuitResult<double>& result,
                 const std::filesystem::path& file) {
    echosieve::CsvWriter table(file,
                               {{"signal", 0}, {"order", 0}, {"atom", 0}, {"coefficient", 12}});
    for (Eigen::Index t = 0; t < result.columns.cols(); ++t) {
        for (std::size_t k = 0; k < result.counts[static_cast<std::size_t>(t)]; ++k) {
            const auto row = static_cast<Eigen::Index>(k);
            table.row({static_cast<double>(t), static_cast<double>(k),
                       static_cast<double>(result.columns(row, t)), result.coefficients(row, t)});
        }
    }
    table.commit();
}

void decompose(const Orders& orders) {
    using Clock = std::chrono::steady_clock;
    const std::filesystem::path out = orders.out;
    std::optional<examples::Results> results;
    if (!orders.out.empty()) {
        results.emplace(examples::one_file(out, {orders.atoms_file, orders.signals_file}));
    }
    const Eigen::MatrixXd columns = unit_atoms(orders.atoms_file);
    const Eigen::MatrixXd signals = examples::matrix_of(orders.signals_file).transpose();
    const auto start = Clock::now();
    echosieve::GramPursuit<double> pursuit(columns, orders.atoms);
    const auto ready = Clock::now();
    echosieve::GramPursuitResult<double> result;
    pursuit.run(signals, {}, result);
    const std::chrono::duration<double> set_up = ready - start;
    const std::chrono::duration<double> took = Clock::now() - ready;
    if (results) {
        write_table(result, results->stage(out.filename().string()));
        results->commit();
    }
    std::printf(
        "Set-up %.3f ms, then %.3f us a signal, %td signals; energy left %.4f in the mean.\n",
        1e3 * set_up.count(), 1e6 * took.count() / static_cast<double>(signals.cols()),
        signals.cols(), (result.residual_energy / result.signal_energy).mean());
}

}  // namespace

int main(int argc, char** argv) {
    examples::CommandLine line("decompose_batch",
                               "Orthogonal pursuit of many signals over a dictionary of your own.");
    Orders orders;
    CLI::App& app = line.app();
    app.add_option("DICTIONARY.npy", orders.atoms_file, "Atoms x samples; scaled to unit norm")
        ->required();
    app.add_option("SIGNALS.npy", orders.signals_file, "Signals x samples")->required();
    examples::add_count(app, "--atoms", orders.atoms, {.most = 1'000'000}, "Of each signal");
    app.add_option("--out", orders.out, "CSV file: signal, order, atom, coefficient");
    return line.run(argc, argv, [&] {
        decompose(orders);
        return 0;
    });
}
