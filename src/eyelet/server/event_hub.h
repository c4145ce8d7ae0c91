// Events from whoever works to whoever listens, for server-sent events (WHATWG HTML, section 9.2).
//
// Each listener has its place in one sequence of events, so a slow one delays nobody. The last kKept events are
// kept; a listener that falls further behind, or comes back with a number that is no longer known, is told that
// everything may have changed.
#pragma once

#include <chrono>
#include <condition_variable>
#include <cstdint>
#include <deque>
#include <mutex>
#include <optional>
#include <string>
#include <vector>

namespace eyelet {

struct Event {
    std::uint64_t number = 0;
    std::string name;  // "change" or "progress"
    std::string data;  // one line of JSON
};

class EventHub {
  public:
    static constexpr std::size_t kKept = 512;

    void publish(std::string name, std::string data);

    // The number after which a new listener starts.
    [[nodiscard]] std::uint64_t now() const;

    // Events after `number`, waiting up to `patience` for one; empty when none came. Sets `missed` where some are no
    // longer kept.
    [[nodiscard]] std::vector<Event> wait_after(std::uint64_t number, std::chrono::milliseconds patience, bool& missed);

    // Wakes every listener for good; wait_after returns at once from then on.
    void close();
    [[nodiscard]] bool closed() const;

    [[nodiscard]] int listeners() const;
    // Counts one listener as long as it lives; none when `most` are there already.
    class Seat;
    [[nodiscard]] std::optional<Seat> take_seat(int most);

  private:
    mutable std::mutex mutex_;
    std::condition_variable woken_;
    std::deque<Event> kept_;
    std::uint64_t last_ = 0;
    int listeners_ = 0;
    bool closed_ = false;
};

class EventHub::Seat {
  public:
    explicit Seat(EventHub& hub) : hub_(&hub) {}
    Seat(Seat&& other) noexcept : hub_(other.hub_) { other.hub_ = nullptr; }
    Seat& operator=(Seat&&) = delete;
    ~Seat();

  private:
    EventHub* hub_;
};

// The event as lines of a text/event-stream.
[[nodiscard]] std::string stream_text(const Event& event);

}  // namespace eyelet
