#include "eyelet/server/guard.h"

#include <gtest/gtest.h>

namespace eyelet {
namespace {

RequestHead get(std::string host) { return {std::move(host), "", "", Effect::reads}; }
RequestHead post(std::string host, std::string origin, std::string site = "") {
    return {std::move(host), std::move(origin), std::move(site), Effect::changes};
}

TEST(Guard, LoopbackNamesWithTheServedPortPass) {
    for (const char* host : {"127.0.0.1:8470", "localhost:8470", "LocalHost:8470", "[::1]:8470"}) {
        EXPECT_TRUE(check_request(get(host), 8470).ok()) << host;
    }
    EXPECT_TRUE(check_request(get("localhost"), 80).ok());
}

TEST(Guard, OtherNamesPortsAndNoNameAreRefused) {
    for (const char* host : {"", "localhost", "127.0.0.1", "127.0.0.1:8471", "bench.example:8470", "127.0.0.1.example:8470",
                             "localhost:8470@example", "0.0.0.0:8470", "127.0.0.1:08470"}) {
        const Status status = check_request(get(host), 8470);
        ASSERT_FALSE(status.ok()) << host;
        EXPECT_EQ(status.error().code, ErrorCode::refused);
        EXPECT_EQ(status.error().message.find('\n'), std::string::npos);
    }
}

TEST(Guard, ChangesComeFromThePageOrFromAProgram) {
    EXPECT_TRUE(check_request(post("127.0.0.1:8470", ""), 8470).ok());
    EXPECT_TRUE(check_request(post("127.0.0.1:8470", "http://127.0.0.1:8470", "same-origin"), 8470).ok());
    EXPECT_TRUE(check_request(post("127.0.0.1:8470", "http://localhost:8470"), 8470).ok());
}

TEST(Guard, ChangesFromAnotherSiteAreRefused) {
    EXPECT_FALSE(check_request(post("127.0.0.1:8470", "http://example.org"), 8470).ok());
    EXPECT_FALSE(check_request(post("127.0.0.1:8470", "https://127.0.0.1:8470"), 8470).ok());
    EXPECT_FALSE(check_request(post("127.0.0.1:8470", "http://127.0.0.1:9000"), 8470).ok());
    EXPECT_FALSE(check_request(post("127.0.0.1:8470", "null"), 8470).ok());
    EXPECT_FALSE(check_request(post("127.0.0.1:8470", "", "cross-site"), 8470).ok());
    EXPECT_FALSE(check_request(post("127.0.0.1:8470", "", "same-site"), 8470).ok());
}

TEST(Guard, ReadingsFromAnotherSiteAreLeftToTheBrowser) {
    // Without Access-Control headers a browser hides the answer from the other site.
    EXPECT_TRUE(check_request({"127.0.0.1:8470", "http://example.org", "cross-site", Effect::reads}, 8470).ok());
}

TEST(Guard, OnlyAFewMethodsRead) {
    EXPECT_EQ(effect_of("GET"), Effect::reads);
    EXPECT_EQ(effect_of("HEAD"), Effect::reads);
    EXPECT_EQ(effect_of("POST"), Effect::changes);
    EXPECT_EQ(effect_of("PUT"), Effect::changes);
    EXPECT_EQ(effect_of("DELETE"), Effect::changes);
}

}  // namespace
}  // namespace eyelet
