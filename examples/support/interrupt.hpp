// What happens when a program is interrupted or told to end while it works.
#pragma once

#include <filesystem>
#include <functional>

namespace examples {

/// From now on SIGINT, SIGTERM and SIGHUP first remove the folders of all RemovedOnInterrupt, and
/// then end the process as they would have anyway. Signals that are ignored stay ignored. To be
/// called before other threads start; more calls do nothing.
void watch_interrupts();

/// A folder that is gone after an interrupt.
class RemovedOnInterrupt {
public:
    explicit RemovedOnInterrupt(std::filesystem::path folder);
    ~RemovedOnInterrupt();
    RemovedOnInterrupt(const RemovedOnInterrupt&) = delete;
    RemovedOnInterrupt& operator=(const RemovedOnInterrupt&) = delete;

private:
    std::filesystem::path folder_;
};

/// Does work that an interrupt waits for: short, such as renaming files.
void without_interrupt(const std::function<void()>& work);

}  // namespace examples
