#include "eyelet/server/event_hub.h"

#include <fmt/format.h>

namespace eyelet {

void EventHub::publish(std::string name, std::string data) {
    {
        const std::lock_guard lock(mutex_);
        kept_.push_back({++last_, std::move(name), std::move(data)});
        if (kept_.size() > kKept) kept_.pop_front();
    }
    woken_.notify_all();
}

std::uint64_t EventHub::now() const {
    const std::lock_guard lock(mutex_);
    return last_;
}

std::vector<Event> EventHub::wait_after(std::uint64_t number, std::chrono::milliseconds patience, bool& missed) {
    std::unique_lock lock(mutex_);
    woken_.wait_for(lock, patience, [&] { return closed_ || last_ != number; });
    // A number from the future is one of a server that ran before this one.
    missed = number > last_ || (!kept_.empty() && number + 1 < kept_.front().number);
    std::vector<Event> events;
    for (const Event& event : kept_) {
        if (event.number > number || number > last_) events.push_back(event);
    }
    return events;
}

void EventHub::close() {
    {
        const std::lock_guard lock(mutex_);
        closed_ = true;
    }
    woken_.notify_all();
}

bool EventHub::closed() const {
    const std::lock_guard lock(mutex_);
    return closed_;
}

int EventHub::listeners() const {
    const std::lock_guard lock(mutex_);
    return listeners_;
}

std::optional<EventHub::Seat> EventHub::take_seat(int most) {
    const std::lock_guard lock(mutex_);
    if (listeners_ >= most) return std::nullopt;
    ++listeners_;
    return Seat(*this);
}

EventHub::Seat::~Seat() {
    if (hub_ == nullptr) return;
    const std::lock_guard lock(hub_->mutex_);
    --hub_->listeners_;
}

std::string stream_text(const Event& event) {
    return fmt::format("id: {}\nevent: {}\ndata: {}\n\n", event.number, event.name, event.data);
}

}  // namespace eyelet
