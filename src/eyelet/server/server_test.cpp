// The server, asked over a real connection, against openapi.json and against the drawn board's true nets.
#include "eyelet/server/server.h"

#include <gmock/gmock.h>
#include <httplib.h>

#include <algorithm>
#include <atomic>
#include <cctype>
#include <fstream>
#include <iterator>
#include <map>
#include <set>
#include <thread>

#include "eyelet/exchange/survey.h"
#include "eyelet/jobs/testing.h"
#include "eyelet/server/json_schema.h"
#include "eyelet/server/routes.h"
#include "eyelet/server/web_files.h"

namespace eyelet {
namespace {

using Json = nlohmann::json;
using testing::AnyOf;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::Not;
using testing::StartsWith;

const Json& document() {
    static const Json parsed = Json::parse(find_web_file("openapi.json").value().content);
    return parsed;
}

class ServerTest : public testing::Test {
  protected:
    void SetUp() override {
        server_ = must(Server::create(*store_, {.port = 0, .max_upload_bytes = 50'000'000, .max_json_bytes = 10'000}));
        thread_ = std::thread([this] { ended_ = server_->run(); });
        for (std::size_t net = 0; net < drawn_.nets.size(); ++net) {
            for (const JointIndex joint : drawn_.nets[net]) net_of_[drawn_.map.joint(joint).name.text()] = net;
        }
    }
    void TearDown() override {
        server_->stop();
        thread_.join();
        EXPECT_TRUE(ended_.ok());
    }

    [[nodiscard]] httplib::Client client() const {
        httplib::Client made("127.0.0.1", server_->port());
        made.set_read_timeout(120);
        return made;
    }

    static std::string content_of(const std::filesystem::path& file) {
        std::ifstream in(file, std::ios::binary);
        return {std::istreambuf_iterator<char>(in), {}};
    }

    [[nodiscard]] httplib::MultipartFormDataItems survey_files() const {
        const Survey survey = drawn_survey(drawn_, photographs_.path());
        httplib::MultipartFormDataItems files{{"file", survey_json(survey, BoardIndex(0)), "mill/survey.json", "application/json"}};
        for (const SurveyPhoto& photo : survey.photos) files.push_back({"file", content_of(photo.path), "mill/" + photo.file, "image/jpeg"});
        return files;
    }

    std::string import_drawn() {
        const auto answer = client().Post("/api/jobs", survey_files());
        if (!answer || answer->status != 201) throw std::runtime_error(answer ? answer->body : "no answer");
        return Json::parse(answer->body)["job"];
    }

    // Asks for an operation of the document and holds the answer against it; `path` may carry a query.
    Json ask(const std::string& method, const std::string& path, const std::string& path_template, int status,
             const Json& body = nullptr, const httplib::MultipartFormDataItems& files = {}) {
        httplib::Client asking = client();
        httplib::Result answer = method == "GET"   ? asking.Get(path)
                                 : !files.empty()  ? asking.Post(path, files)
                                 : method == "PUT" ? asking.Put(path, body.dump(), "application/json")
                                 : body.is_null()  ? asking.Post(path)
                                                   : asking.Post(path, body.dump(), "application/json");
        if (!answer) throw std::runtime_error(method + " " + path + ": no answer");
        EXPECT_EQ(answer->status, status) << method << ' ' << path << ": " << answer->body.substr(0, 300);
        std::string lower = method;
        std::transform(lower.begin(), lower.end(), lower.begin(), [](unsigned char c) { return static_cast<char>(std::tolower(c)); });
        const Json& operation = document().at("paths").at(path_template).at(lower);
        const std::string code = std::to_string(status);
        const Json& described = operation.at("responses").contains(code) ? operation.at("responses").at(code) : operation.at("responses").at("default");
        const std::string type = answer->get_header_value("Content-Type");
        const Json& kinds = described.at("content");
        const std::string plain_type = type.substr(0, type.find(';'));
        EXPECT_TRUE(kinds.contains(plain_type)) << method << ' ' << path << " came as " << type;
        if (!body.is_null() && status < 300) {
            EXPECT_EQ(SchemaChecker(document()).check(body, operation.at("requestBody").at("content").at("application/json").at("schema")), "")
                << "what was sent to " << path;
        }
        asked_.insert(method + " " + path_template);
        if (!plain_type.ends_with("json")) return answer->body;
        Json said = Json::parse(answer->body);
        if (kinds.contains(plain_type)) {
            EXPECT_EQ(SchemaChecker(document()).check(said, kinds.at(plain_type).at("schema")), "") << method << ' ' << path;
        }
        if (status >= 400) {
            EXPECT_THAT(said["detail"].get<std::string>(), Not(HasSubstr("\n")));
        }
        return said;
    }

    // What a meter would say, in the words of the interface.
    Json answer_to(const Json& question) const {
        Json answer{{"question", question["question"]}};
        const std::string hold = question["hold"];
        if (question["gesture"] == "touch") {
            const bool joined = net_of_.at(hold) == net_of_.at(question["to"]);
            answer[joined ? "ohms" : "open"] = joined ? Json(0.2) : Json(true);
        } else {
            answer["answers"] = Json::object();
            for (const std::string joint : question["along"]) {
                answer["answers"][joint] = net_of_.at(hold) == net_of_.at(joint) ? Json(0.2) : Json("open");
            }
        }
        return answer;
    }

    const DrawnBoard drawn_ = drawn_board();
    std::map<std::string, std::size_t> net_of_;
    TemporaryFolder bench_;
    TemporaryFolder photographs_;
    std::unique_ptr<Store> store_ = must(open_bench(bench_.path()));
    std::unique_ptr<Server> server_;
    std::thread thread_;
    Status ended_;
    std::set<std::string> asked_;
};

TEST(Routes, TheDocumentNamesExactlyTheRoutes) {
    std::set<std::string> served;
    for (const Route& route : routes()) EXPECT_TRUE(served.insert(std::string(route.method) + " " + route.path).second) << route.path;
    std::set<std::string> described;
    for (const auto& [path, operations] : document().at("paths").items()) {
        for (const auto& [method, operation] : operations.items()) {
            std::string upper = method;
            std::transform(upper.begin(), upper.end(), upper.begin(), [](unsigned char c) { return static_cast<char>(std::toupper(c)); });
            described.insert(upper + " " + path);
            // Every part of the path in braces is a parameter, and the other way round.
            std::set<std::string> in_path;
            for (std::size_t at = path.find('{'); at != std::string::npos; at = path.find('{', at + 1)) {
                in_path.insert(path.substr(at + 1, path.find('}', at) - at - 1));
            }
            std::set<std::string> parameters;
            for (const Json& parameter : operation.value("parameters", Json::array())) {
                if (parameter.at("in") == "path") parameters.insert(parameter.at("name"));
            }
            EXPECT_EQ(parameters, in_path) << path;
        }
    }
    EXPECT_EQ(served, described);
}

TEST_F(ServerTest, EveryOperationAnswersAsDescribed) {
    ask("GET", "/api/version", "/api/version", 200);
    EXPECT_THAT(ask("GET", "/api/cautions", "/api/cautions", 200)["cautions"], Not(IsEmpty()));
    EXPECT_EQ(ask("GET", "/api/openapi.json", "/api/openapi.json", 200), document());
    EXPECT_THAT(ask("GET", "/api/jobs", "/api/jobs", 200)["jobs"], IsEmpty());
    const std::string job = ask("POST", "/api/jobs", "/api/jobs", 201, nullptr, survey_files())["job"];
    const std::string here = "/api/jobs/" + job;
    const std::string there = "/api/jobs/{job}";
    EXPECT_EQ(ask("GET", "/api/jobs", "/api/jobs", 200)["jobs"][0]["joints"], 16);
    const Json before = ask("GET", here, there, 200);
    EXPECT_EQ(before["steps"]["aligned"], false);
    const std::string photograph = before["boards"][0]["photographs"][0]["photograph"];
    EXPECT_EQ(ask("GET", here + "/map", there + "/map", 200)["joints"].size(), 16U);

    const std::string tiles = "/photographs/" + photograph;
    const std::string tiles_there = "/photographs/{photograph}/{of}";
    ask("GET", here + tiles + "/rectified/pyramid", there + tiles_there + "/pyramid", 409);
    const Json taken = ask("GET", here + tiles + "/photograph/pyramid", there + tiles_there + "/pyramid", 200);
    EXPECT_EQ(taken["width"], 1000);
    EXPECT_THAT(ask("GET", here + "/alignment", there + "/alignment", 200)["photographs"], IsEmpty());
    const Json fits = ask("POST", here + "/alignment", there + "/alignment", 200)["photographs"];
    ASSERT_EQ(fits.size(), 2U);
    for (const Json& fit : fits) {
        EXPECT_EQ(fit["tie_points"].size(), 6U);
        EXPECT_LT(fit["worst_mm"], 0.1);
    }
    ask("GET", here + "/alignment", there + "/alignment", 200);
    EXPECT_EQ(ask("GET", here, there, 200)["steps"]["aligned"], true);
    const Json pyramid = ask("GET", here + tiles + "/rectified/pyramid", there + tiles_there + "/pyramid", 200);
    ASSERT_GT(pyramid["levels"], 8);
    const std::string level = std::to_string(pyramid["levels"].get<int>() - 1);
    const std::string tile = ask("GET", here + tiles + "/rectified/tiles/" + level + "/1_0.jpg", there + tiles_there + "/tiles/{level}/{tile}", 200);
    EXPECT_THAT(tile, StartsWith("\xff\xd8\xff"));  // JPEG, ITU-T T.81: start of image, then a marker
    for (const char* wrong : {"/tiles/99/0_0.jpg", "/tiles/0/7_7.jpg", "/tiles/0/..%2f0_0.jpg", "/tiles/-1/0_0.jpg", "/tiles/0/0_0.png"}) {
        ask("GET", here + tiles + "/rectified" + wrong, there + tiles_there + "/tiles/{level}/{tile}", 404);
    }

    ask("GET", here + "/links", there + "/links", 200);
    const Json followed = ask("POST", here + "/links", there + "/links", 200);
    EXPECT_GT(followed["links"], 0);
    ask("GET", here + "/tone", there + "/tone", 200);
    const Json settled = ask("PUT", here + "/tone", there + "/tone", 200, {{"board", 0}, {"side", "bottom"}, {"copper", "lighter"}});
    EXPECT_TRUE(std::any_of(settled["tones"].begin(), settled["tones"].end(),
                            [](const Json& t) { return t["side"] == "bottom" && t["settled"] == true && t["tone"] == "lighter"; }));
    EXPECT_EQ(ask("GET", here + "/links", there + "/links", 200)["links"].size(), settled["links"]);
    ask("GET", here + "/nets?proposed=true", there + "/nets", 200);
    const Json nets = ask("GET", here + "/nets", there + "/nets", 200)["nets"];
    std::size_t joints = 0;
    for (const Json& net : nets) {
        joints += net["joints"].size();
        EXPECT_EQ(net["standing"], "proposed");  // nothing was measured yet
    }
    EXPECT_EQ(joints, 16U);

    const Json asked = ask("GET", here + "/ring", there + "/ring", 200);
    ASSERT_FALSE(asked["question"].is_null());
    ask("POST", here + "/ring", there + "/ring", 200, answer_to(asked["question"]));
    ask("POST", here + "/ring/readings", there + "/ring/readings", 200, {{"from", "J1.1"}, {"to", "J2.1"}, {"ohms", 0.3}});
    EXPECT_EQ(ask("GET", here + "/ring/options", there + "/ring/options", 200)["instrument"], "");
    ask("PUT", here + "/ring/options", there + "/ring/options", 200, {{"instrument", "bench meter"}, {"lead_ohm", 0.2}, {"apart_mm", 1.5}});
    EXPECT_EQ(ask("GET", here + "/ring/options", there + "/ring/options", 200)["apart_mm"], 1.5);

    for (const char* form : {"csv", "json", "ipc356"}) ask("GET", here + "/netlist?form=" + form, there + "/netlist", 200);

    const std::string entry = ask("POST", here + "/journal", there + "/journal", 201, {{"kind", "note"}, {"text", "smells of fish"}})["entry"];
    ask("POST", here + "/journal", there + "/journal", 201,
        {{"kind", "finding"}, {"what", "leaked"}, {"text", ""}, {"parts", {"J1"}}, {"joints", {"J1.1"}}});
    ask("POST", here + "/journal", there + "/journal", 201, {{"kind", "work"}, {"what", "resoldered"}, {"text", "with flux"}, {"joints", {"J1.1"}}});
    ask("POST", here + "/journal", there + "/journal", 201,
        {{"kind", "trial"}, {"text", ""}, {"condition", "warm"}, {"minutes", 30}, {"recurrences", 0}});
    ask("POST", here + "/journal/" + entry + "/withdraw", there + "/journal/{entry}/withdraw", 200, {{"why", "it was lunch"}});
    ask("POST", here + "/undo", there + "/undo", 200);
    ask("POST", here + "/redo", there + "/redo", 200);
    const Json journal = ask("GET", here + "/journal", there + "/journal", 200);
    EXPECT_TRUE(std::any_of(journal["entries"].begin(), journal["entries"].end(), [&](const Json& e) {
        return e["entry"] == entry && e["withdrawn"] == true;
    }));
    const std::string report = ask("GET", here + "/report.pdf", there + "/report.pdf", 200);
    EXPECT_THAT(report, StartsWith("%PDF-"));

    asked_.insert("GET /api/events");  // asked in the tests of events
    std::set<std::string> all;
    for (const Route& route : routes()) all.insert(std::string(route.method) + " " + route.path);
    EXPECT_EQ(asked_, all);
}

TEST_F(ServerTest, RingsABoardOutToItsTrueNets) {
    const std::string here = "/api/jobs/" + import_drawn();
    Json state = ask("GET", here + "/ring", "/api/jobs/{job}/ring", 200);
    int gestures = 0;
    bool taken_back = false;
    while (!state["question"].is_null()) {
        state = ask("POST", here + "/ring", "/api/jobs/{job}/ring", 200, answer_to(state["question"]));
        EXPECT_EQ(state["progress"]["gestures"], ++gestures);
        ASSERT_LT(gestures, 500);
        if (gestures == 3 && !taken_back) {
            taken_back = true;
            state = ask("POST", here + "/ring", "/api/jobs/{job}/ring", 200, {{"undo", true}});
            EXPECT_EQ(state["progress"]["gestures"], --gestures);
        }
    }
    EXPECT_EQ(state["progress"]["settled"], true);
    std::set<std::set<std::string>> found, truth;
    const Json nets = ask("GET", here + "/nets", "/api/jobs/{job}/nets", 200)["nets"];
    for (const Json& net : nets) found.insert(net["joints"].get<std::set<std::string>>());
    for (const auto& net : drawn_.nets) {
        std::set<std::string> names;
        for (const JointIndex joint : net) names.insert(drawn_.map.joint(joint).name.text());
        truth.insert(names);
    }
    EXPECT_EQ(found, truth);
}

TEST_F(ServerTest, AnAnswerLandsOnItsOwnQuestionOnly) {
    const std::string here = "/api/jobs/" + import_drawn();
    const Json asked = ask("GET", here + "/ring", "/api/jobs/{job}/ring", 200);
    const Json answer = answer_to(asked["question"]);
    ask("POST", here + "/ring", "/api/jobs/{job}/ring", 200, answer);
    const Json refused = ask("POST", here + "/ring", "/api/jobs/{job}/ring", 409, answer);  // sent twice
    EXPECT_THAT(refused["detail"].get<std::string>(), HasSubstr("answered already"));
    EXPECT_EQ(ask("GET", here + "/ring", "/api/jobs/{job}/ring", 200)["progress"]["gestures"], 1);
}

TEST_F(ServerTest, RefusesBadInputWithOneLineAndChangesNothing) {
    const std::string here = "/api/jobs/" + import_drawn();
    const std::string there = "/api/jobs/{job}";
    ask("GET", "/api/jobs/J99", there, 404);
    ask("GET", "/api/jobs/J99/ring", there + "/ring", 404);
    const Json question = ask("GET", here + "/ring", there + "/ring", 200)["question"];
    const auto with = [&](Json members) {
        members["question"] = question["question"];
        return members;
    };
    for (const Json& wrong : {Json{{"open", true}}, with({{"ohms", -1}}), with({{"ohms", "0.2"}}), with({{"beeps", {"nobody"}}}), with(Json::object()),
                              Json(3)}) {
        ask("POST", here + "/ring", there + "/ring", 400, wrong);
    }
    ask("POST", here + "/ring", there + "/ring", 409, {{"undo", true}});
    for (const Json& wrong : {Json{{"from", "J1.1"}, {"to", "J1.1"}, {"open", true}}, Json{{"from", "J1.1"}, {"to", "nobody"}, {"open", true}},
                              Json{{"from", "J1.1"}, {"to", "J1.2"}}, Json{{"from", "J1.1"}, {"to", "J1.2"}, {"open", true}, {"ohms", 1}},
                              Json{{"from", "J1.1"}, {"to", "J1.2"}, {"ohms", 1}, {"more", 1}}}) {
        ask("POST", here + "/ring/readings", there + "/ring/readings", 400, wrong);
    }
    ask("PUT", here + "/ring/options", there + "/ring/options", 400, {{"risk", -1}});
    ask("PUT", here + "/ring/options", there + "/ring/options", 400, {{"beep", "maybe"}});
    ask("PUT", here + "/tone", there + "/tone", 400, {{"board", 7}, {"side", "top"}, {"copper", "lighter"}});
    ask("PUT", here + "/tone", there + "/tone", 400, {{"board", 0}, {"side", "left"}, {"copper", "lighter"}});
    ask("POST", here + "/journal", there + "/journal", 400, {{"kind", "reading"}, {"text", ""}});
    ask("POST", here + "/journal", there + "/journal", 400, {{"kind", "finding"}, {"text", ""}, {"what", "leaked"}, {"joints", {"nobody"}}});
    ask("POST", here + "/journal", there + "/journal", 400, {{"kind", "trial"}, {"text", ""}, {"condition", ""}, {"minutes", -1}, {"recurrences", 0}});
    ask("POST", here + "/journal/E999/withdraw", there + "/journal/{entry}/withdraw", 404, {{"why", "x"}});
    ask("GET", here + "/netlist?form=pdf", there + "/netlist", 400);
    ask("GET", here + "/nets?proposed=perhaps", there + "/nets", 400);
    const Json state = ask("GET", here + "/ring", there + "/ring", 200);
    EXPECT_EQ(state["progress"]["gestures"], 0);
    EXPECT_EQ(state["question"], question);

    httplib::Client asking = client();
    EXPECT_EQ(asking.Post(here + "/ring", "{\"open\":true}", "text/plain")->status, 415);
    EXPECT_EQ(asking.Post(here + "/ring", std::string(20'000, ' '), "application/json")->status, 413);
    EXPECT_EQ(asking.Post(here + "/ring", "{\"open\":", "application/json")->status, 400);
    EXPECT_EQ(asking.Get("/api/nothing")->status, 404);
    EXPECT_EQ(asking.Delete(here)->status, 404);
    EXPECT_EQ(asking.Post("/api/nothing", "{}", "application/json")->get_header_value("Content-Type"), "application/problem+json");
}

TEST_F(ServerTest, RefusedSurveysLeaveNothingBehind) {
    const std::string path = "/api/jobs";
    const auto refused = [&](const httplib::MultipartFormDataItems& files) {
        return ask("POST", path, path, 400, nullptr, files)["detail"].get<std::string>();
    };
    httplib::MultipartFormDataItems files = survey_files();
    EXPECT_THAT(refused({files[1], files[2]}), HasSubstr("survey.json"));
    EXPECT_THAT(refused({files[0], files[1]}), HasSubstr("bottom.jpg"));  // one photograph did not come
    files[1].filename = "../../top.jpg";
    EXPECT_THAT(refused(files), HasSubstr("top.jpg"));
    files = survey_files();
    files[1].content.resize(files[1].content.size() / 2);  // truncated on the way
    EXPECT_THAT(refused(files), HasSubstr("top.jpg"));
    files = survey_files();
    files[0].content = "{\"schema\":\"board-survey/9\"}";
    EXPECT_THAT(refused(files), HasSubstr("schema"));
    files.push_back({"file", std::string(51'000'000, 'x'), "large.bin", ""});
    EXPECT_THAT(client().Post(path, files)->status, AnyOf(400, 413));
    EXPECT_EQ(client().Post(path, "file", "text/plain")->status, 415);
    EXPECT_THAT(ask("GET", path, path, 200)["jobs"], IsEmpty());
    const std::filesystem::path passing = store_->tiles_folder() / "passing";
    EXPECT_TRUE(!std::filesystem::exists(passing) || std::filesystem::is_empty(passing));
}

TEST_F(ServerTest, ForeignNamesAndPagesAreRefused) {
    const std::string here = "/api/jobs/" + import_drawn();
    httplib::Client asking = client();
    EXPECT_EQ(asking.Get("/api/jobs", {{"Host", "bench.example"}})->status, 403);
    EXPECT_EQ(asking.Get("/", {{"Host", "bench.example:" + std::to_string(server_->port())}})->status, 403);
    EXPECT_EQ(asking.Post(here + "/undo", httplib::Headers{{"Origin", "http://example.org"}}, "", "text/plain")->status, 403);
    EXPECT_EQ(asking.Post(here + "/undo", httplib::Headers{{"Sec-Fetch-Site", "cross-site"}}, "", "text/plain")->status, 403);
    const std::string own = "http://localhost:" + std::to_string(server_->port());
    EXPECT_EQ(asking.Post(here + "/journal", httplib::Headers{{"Origin", own}}, R"({"kind":"note","text":"x"})", "application/json")->status, 201);
}

// A body that is refused unread must not be taken for the next request: as such it would carry no Origin.
TEST_F(ServerTest, ARefusedBodyIsNeverARequest) {
    const std::string here = "/api/jobs/" + import_drawn();
    ask("POST", here + "/journal", "/api/jobs/{job}/journal", 201, {{"kind", "note"}, {"text", "stays"}});
    const std::string host = "127.0.0.1:" + std::to_string(server_->port());
    const std::string hidden = "POST " + here + "/undo HTTP/1.1\r\nHost: " + host + "\r\nContent-Length: 0\r\n\r\n";
    (void)client().Post(here + "/undo", httplib::Headers{{"Origin", "http://example.org"}, {"Connection", "keep-alive"}}, hidden + hidden, "text/plain");
    const Json journal = ask("GET", here + "/journal", "/api/jobs/{job}/journal", 200);
    EXPECT_TRUE(std::any_of(journal["entries"].begin(), journal["entries"].end(),
                            [](const Json& e) { return e["text"] == "stays" && e["withdrawn"] == false; }));
    EXPECT_TRUE(journal["redo"].is_null());
}

// Ten devices with an open event stream each hear of a change, and the server goes on answering.
TEST_F(ServerTest, TenListenersHearAChangeAndBlockNobody) {
    constexpr int kDevices = 10;
    std::atomic<int> open = 0;
    std::atomic<int> heard = 0;
    std::atomic<bool> enough = false;
    std::vector<std::thread> devices;
    for (int i = 0; i < kDevices; ++i) {
        devices.emplace_back([&] {
            std::string text;
            bool counted = false;
            bool told = false;
            (void)client().Get("/api/events", [&](const char* data, std::size_t size) {
                text.append(data, size);
                if (!counted) ++open;
                counted = true;
                if (!told && text.find("event: change") != std::string::npos && text.find("\"job\":\"J1\"") != std::string::npos) {
                    told = true;
                    ++heard;
                }
                return !told && !enough;
            });
        });
    }
    while (open < kDevices) std::this_thread::sleep_for(std::chrono::milliseconds(5));
    std::vector<std::thread> readers;
    std::atomic<int> answered = 0;
    for (int i = 0; i < kDevices; ++i) {
        readers.emplace_back([&] {
            for (int n = 0; n < 5; ++n) answered += client().Get("/api/version")->status == 200 ? 1 : 0;
        });
    }
    for (std::thread& reader : readers) reader.join();
    EXPECT_EQ(answered, 5 * kDevices);
    EXPECT_EQ(import_drawn(), "J1");
    for (std::thread& device : devices) device.join();  // each ends when it has heard
    EXPECT_EQ(heard, kDevices);
}

// The command line edits the same bench while a page is open.
TEST_F(ServerTest, AChangeByAnotherProcessIsHeard) {
    const std::string job = import_drawn();
    const auto other = must(open_bench(bench_.path()));
    std::string text;
    std::atomic<bool> written = false;
    std::thread writer;
    (void)client().Get("/api/events", [&](const char* data, std::size_t size) {
        text.append(data, size);
        if (!written.exchange(true)) {
            writer = std::thread([&] {
                std::this_thread::sleep_for(std::chrono::milliseconds(1200));  // until the server has looked once
                must(other->add_entries(JobName(job), {NoteEntry{"from elsewhere"}}, {"Ada", "command line"}));
            });
        }
        return text.find("event: change") == std::string::npos;
    });
    writer.join();
    EXPECT_THAT(text, HasSubstr("event: change"));
    EXPECT_THAT(text, HasSubstr("\"job\":\"" + job + "\""));
}

TEST_F(ServerTest, ThePageIsServedOrItsAbsenceSaid) {
    const auto page = client().Get("/");
    ASSERT_TRUE(page);
    EXPECT_THAT(page->get_header_value("Content-Type"), StartsWith("text/html"));
    if (page_is_built()) {
        EXPECT_EQ(page->status, 200);
        EXPECT_THAT(page->get_header_value("Content-Security-Policy"), HasSubstr("default-src 'self'"));
        EXPECT_THAT(page->body, HasSubstr("<script type=\"module\""));
        EXPECT_EQ(client().Get("/mark.svg")->get_header_value("Content-Type"), "image/svg+xml");
    } else {
        EXPECT_EQ(page->status, 503);
        EXPECT_THAT(page->body, HasSubstr("not built"));
    }
    EXPECT_EQ(client().Get("/../../etc/passwd")->status, 404);
    EXPECT_EQ(client().Get("/openapi.json")->status, 404);  // it has its own place
}

TEST_F(ServerTest, APortThatIsTakenIsRefused) {
    const auto second = Server::create(*store_, {.port = server_->port()});
    ASSERT_FALSE(second.ok());
    EXPECT_EQ(second.error().code, ErrorCode::unavailable);
    EXPECT_THAT(second.error().message, HasSubstr("--port"));
    EXPECT_FALSE(Server::create(*store_, {.port = 70'000}).ok());
}

}  // namespace
}  // namespace eyelet
