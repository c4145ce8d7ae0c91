#include "eyelet/server/ring_desks.h"

namespace eyelet {

std::shared_ptr<RingDesks::Desk> RingDesks::desk_of(const JobName& job) {
    const std::lock_guard lock(mutex_);
    std::shared_ptr<Desk>& desk = desks_[job];
    if (!desk) {
        desk = std::make_shared<Desk>();
        desk->options.who.device = "page at 127.0.0.1";
    }
    return desk;
}

Status RingDesks::prepare(Desk& desk, const JobName& job) {
    if (desk.session) {
        const Result<bool> refreshed = desk.session->refresh();
        return refreshed.ok() ? Status() : Status(refreshed.error());
    }
    Result<std::unique_ptr<RingSession>> opened = RingSession::open(store_, job, desk.options);
    if (!opened.ok()) return opened.error();
    desk.session = std::move(opened).value();
    return {};
}

RingSessionOptions RingDesks::options(const JobName& job) {
    const std::shared_ptr<Desk> desk = desk_of(job);
    const std::lock_guard lock(desk->mutex);
    return desk->options;
}

Status RingDesks::set_options(const JobName& job, const RingSessionOptions& options) {
    EYELET_TRY(options.ring.validate());
    const std::shared_ptr<Desk> desk = desk_of(job);
    const std::lock_guard lock(desk->mutex);
    Result<std::unique_ptr<RingSession>> opened = RingSession::open(store_, job, options);
    if (!opened.ok()) return opened.error();
    desk->session = std::move(opened).value();
    desk->options = options;
    return {};
}

}  // namespace eyelet
