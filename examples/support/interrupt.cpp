#include "support/interrupt.hpp"

#include <pthread.h>
#include <unistd.h>

#include <algorithm>
#include <csignal>
#include <mutex>
#include <system_error>
#include <thread>
#include <utility>
#include <vector>

namespace examples {
namespace {

struct Watched {
    std::mutex mutex;
    std::vector<std::filesystem::path> folders;
};

// Never destroyed: the thread that waits may outlive everything else.
Watched& watched() {
    static auto* const all = new Watched;
    return *all;
}

bool is_ignored(int signal) {
    struct sigaction action = {};
    return sigaction(signal, nullptr, &action) == 0 && action.sa_handler == SIG_IGN;
}

void wait_for(const sigset_t& signals) {
    int signal = 0;
    while (sigwait(&signals, &signal) != 0) {
    }
    // Never released: nothing is put in place any more.
    watched().mutex.lock();
    constexpr int tries = 3;  // work that still goes on may put another file into a folder
    for (int k = 0; k < tries; ++k) {
        for (const std::filesystem::path& folder : watched().folders) {
            std::error_code ignored;
            std::filesystem::remove_all(folder, ignored);
        }
    }
    std::signal(signal, SIG_DFL);
    pthread_sigmask(SIG_UNBLOCK, &signals, nullptr);
    kill(getpid(), signal);
}

void start_to_watch() {
    sigset_t signals;
    sigemptyset(&signals);
    bool any = false;
    for (const int signal : {SIGINT, SIGTERM, SIGHUP}) {
        if (!is_ignored(signal)) {
            sigaddset(&signals, signal);
            any = true;
        }
    }
    if (any && pthread_sigmask(SIG_BLOCK, &signals, nullptr) == 0) {
        std::thread(wait_for, signals).detach();
    }
}

}  // namespace

void watch_interrupts() {
    static std::once_flag once;
    std::call_once(once, start_to_watch);
}

RemovedOnInterrupt::RemovedOnInterrupt(std::filesystem::path folder) : folder_(std::move(folder)) {
    const std::lock_guard lock(watched().mutex);
    watched().folders.push_back(folder_);
}

RemovedOnInterrupt::~RemovedOnInterrupt() {
    const std::lock_guard lock(watched().mutex);
    std::erase(watched().folders, folder_);
}

void without_interrupt(const std::function<void()>& work) {
    const std::lock_guard lock(watched().mutex);
    work();
}

}  // namespace examples
