// One ring-out session for each job that is being looked at, shared by every device that has its page open.
//
// A session is used by one request at a time. What other processes stored since is taken in before each use, so the
// command line and several pages may work on one job.
#pragma once

#include <functional>
#include <map>
#include <memory>
#include <mutex>
#include <string>

#include "eyelet/jobs/ring_session.h"

namespace eyelet {

class RingDesks {
  public:
    explicit RingDesks(Store& store) : store_(store) {}

    // Runs `use` with the job's session, opened where it is not yet.
    template <class T>
    [[nodiscard]] Result<T> with(const JobName& job, const std::function<Result<T>(RingSession&, const RingSessionOptions&)>& use) {
        const std::shared_ptr<Desk> desk = desk_of(job);
        const std::lock_guard lock(desk->mutex);
        EYELET_TRY(prepare(*desk, job));
        return use(*desk->session, desk->options);
    }

    [[nodiscard]] RingSessionOptions options(const JobName& job);
    // Opens the session anew with these; where they are refused, the ones before stay.
    [[nodiscard]] Status set_options(const JobName& job, const RingSessionOptions& options);

  private:
    struct Desk {
        std::mutex mutex;
        RingSessionOptions options;
        std::unique_ptr<RingSession> session;
    };
    [[nodiscard]] std::shared_ptr<Desk> desk_of(const JobName& job);
    [[nodiscard]] Status prepare(Desk& desk, const JobName& job);

    Store& store_;
    std::mutex mutex_;
    std::map<JobName, std::shared_ptr<Desk>> desks_;
};

}  // namespace eyelet
