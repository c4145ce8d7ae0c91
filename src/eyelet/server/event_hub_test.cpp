#include "eyelet/server/event_hub.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <thread>

namespace eyelet {
namespace {

using std::chrono::milliseconds;

TEST(EventHub, AListenerGetsWhatComesAfterItsPlace) {
    EventHub hub;
    hub.publish("change", R"({"job":"J1"})");
    const std::uint64_t place = hub.now();
    hub.publish("change", R"({"job":"J2"})");
    hub.publish("progress", R"({"job":"J2"})");
    bool missed = true;
    const std::vector<Event> events = hub.wait_after(place, milliseconds(0), missed);
    ASSERT_EQ(events.size(), 2U);
    EXPECT_EQ(events[0].data, R"({"job":"J2"})");
    EXPECT_EQ(events[1].name, "progress");
    EXPECT_FALSE(missed);
    EXPECT_TRUE(hub.wait_after(hub.now(), milliseconds(0), missed).empty());
}

TEST(EventHub, AWaitingListenerIsWoken) {
    EventHub hub;
    std::vector<Event> events;
    std::thread listener([&] {
        bool missed = false;
        events = hub.wait_after(0, milliseconds(10'000), missed);
    });
    hub.publish("change", "{}");
    listener.join();
    EXPECT_EQ(events.size(), 1U);
}

TEST(EventHub, WhoFallsTooFarBehindIsTold) {
    EventHub hub;
    for (std::size_t i = 0; i < EventHub::kKept + 10; ++i) hub.publish("change", "{}");
    bool missed = false;
    EXPECT_EQ(hub.wait_after(1, milliseconds(0), missed).size(), EventHub::kKept);
    EXPECT_TRUE(missed);
    // A number of a server that ran before this one.
    EXPECT_FALSE(hub.wait_after(99'999, milliseconds(0), missed).empty());
    EXPECT_TRUE(missed);
}

TEST(EventHub, ClosingWakesEveryoneAndStays) {
    EventHub hub;
    std::thread listener([&] {
        bool missed = false;
        while (!hub.closed()) (void)hub.wait_after(0, milliseconds(10'000), missed);
    });
    hub.close();
    listener.join();
    EXPECT_TRUE(hub.closed());
}

TEST(EventHub, SeatsAreCountedAndLimited) {
    EventHub hub;
    {
        auto first = hub.take_seat(2);
        auto second = hub.take_seat(2);
        ASSERT_TRUE(first && second);
        EXPECT_EQ(hub.listeners(), 2);
        EXPECT_FALSE(hub.take_seat(2));
        EXPECT_EQ(hub.listeners(), 2);
    }
    EXPECT_EQ(hub.listeners(), 0);
}

TEST(EventHub, AnEventIsFourLinesOfTheStream) {
    EXPECT_EQ(stream_text({7, "change", R"({"job":"J1"})"}), "id: 7\nevent: change\ndata: {\"job\":\"J1\"}\n\n");
}

}  // namespace
}  // namespace eyelet
