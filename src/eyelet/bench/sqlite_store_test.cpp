// What only the SQLite store can get wrong: its file, its schema, its disk.
#include "eyelet/bench/sqlite_store.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sqlite3.h>
#include <sys/mount.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <csignal>
#include <fstream>

#include "eyelet/bench/documents.h"
#include "eyelet/bench/photograph_files.h"
#include "eyelet/bench/schema.h"
#include "eyelet/bench/testing.h"

namespace eyelet {
namespace {

namespace fs = std::filesystem;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::SizeIs;

const Who kWho{"Ada", "bench 1"};

void run_sql(const fs::path& file, const std::string& sql) {
    auto database = must(sqlite::Database::open(file, true, 1000));
    ok(database->run_script(sql));
}

std::size_t files_below(const fs::path& folder) {
    std::size_t count = 0;
    if (fs::exists(folder))
        for (const auto& one : fs::recursive_directory_iterator(folder))
            count += one.is_regular_file() ? 1 : 0;
    return count;
}

TEST(SqliteBench, HasTheSchemaItSaysAndSafeSettings) {
    const TemporaryFolder folder;
    must(open_bench(folder.path()));
    auto database = must(sqlite::Database::open(folder.path() / "bench.db", false, 1000));
    EXPECT_EQ(must(database->number("PRAGMA user_version")), newest_schema());
    EXPECT_EQ(
        must(database->row("PRAGMA journal_mode", [](const sqlite::Statement& s) { return s.text(0); })),
        "wal");
    EXPECT_EQ(
        must(database->number("SELECT count(*) FROM pragma_table_list WHERE type = 'table' AND strict = 0 "
                              "AND name NOT LIKE 'sqlite_%'")),
        0);
    EXPECT_EQ(must(database->number("SELECT count(*) FROM pragma_foreign_key_check")), 0);
}

TEST(SqliteBench, KeepsEveryConnectionSafe) {
    // Foreign keys and full synchronisation belong to a connection, so a row that breaks a reference tells.
    const TemporaryFolder folder;
    auto store = must(open_bench(folder.path()));
    const JobName job = must(store->add_job(small_job(), kWho)).name;
    must(store->add_entries(job, {NoteEntry{"a"}}, kWho));
    auto database = must(sqlite::Database::open(folder.path() / "bench.db", false, 1000));
    ok(database->run_script("PRAGMA foreign_keys = ON"));
    EXPECT_FALSE(database->run_script("DELETE FROM jobs").ok());
    EXPECT_FALSE(database->run_script("INSERT INTO edit_entries (edit, entry) VALUES (1, 99)").ok());
    // The journal holds against a mistake of ours as well.
    for (const char* sql :
         {"DELETE FROM entries", "UPDATE entries SET text = 'b'", "UPDATE entries SET job = 7",
          "DELETE FROM map_versions", "UPDATE map_versions SET map = '{}'"}) {
        const Status status = database->run_script(sql);
        ASSERT_FALSE(status.ok()) << sql;
        EXPECT_THAT(status.error().message, HasSubstr("never")) << sql;
    }
    // And a value that is lost cannot pass for a number.
    EXPECT_FALSE(
        database
            ->run_script("INSERT INTO readings (entry, from_joint, to_joint, said, ohm, gesture, instrument, "
                         "board_state) VALUES (1, 'a', 'b', 'ohms', NULL, 'touch', '', '')")
            .ok());
    EXPECT_FALSE(
        database
            ->run_script("INSERT INTO readings (entry, from_joint, to_joint, said, ohm, gesture, instrument, "
                         "board_state) VALUES (1, 'a', 'b', 'open', 0, 'touch', '', '')")
            .ok());
}

TEST(SqliteBench, OpensExistingOnlyWhereThereIsOne) {
    const TemporaryFolder folder;
    const fs::path none = folder.path() / "none";
    const auto missing = open_bench(none, OpenMode::existing);
    ASSERT_FALSE(missing.ok());
    EXPECT_EQ(missing.error().code, ErrorCode::not_found);
    EXPECT_FALSE(fs::exists(none));
    must(open_bench(none, OpenMode::create));
    EXPECT_TRUE(open_bench(none, OpenMode::existing).ok());
}

TEST(SqliteBench, RefusesTheDatabaseOfANewerProgram) {
    const TemporaryFolder folder;
    must(open_bench(folder.path()));
    run_sql(folder.path() / "bench.db", "PRAGMA user_version = 4711");
    const auto opened = open_bench(folder.path());
    ASSERT_FALSE(opened.ok());
    EXPECT_EQ(opened.error().code, ErrorCode::refused);
    EXPECT_THAT(opened.error().message, HasSubstr("newer version of this program"));
    EXPECT_THAT(opened.error().message, HasSubstr("4711"));
    auto database = must(sqlite::Database::open(folder.path() / "bench.db", false, 1000));
    EXPECT_EQ(must(database->number("PRAGMA user_version")), 4711);
}

TEST(SqliteBench, RefusesTheDatabaseOfAnotherProgram) {
    const TemporaryFolder folder;
    run_sql(folder.path() / "bench.db", "CREATE TABLE recipes (name TEXT)");
    const auto opened = open_bench(folder.path());
    ASSERT_FALSE(opened.ok());
    EXPECT_THAT(opened.error().message, HasSubstr("another program"));
    auto database = must(sqlite::Database::open(folder.path() / "bench.db", false, 1000));
    EXPECT_EQ(must(database->number("SELECT count(*) FROM sqlite_schema")), 1);
}

TEST(SqliteBench, SaysThatABrokenDatabaseIsBroken) {
    // Text in place of a database; and a database whose first page was overwritten.
    for (const bool whole : {false, true}) {
        const TemporaryFolder folder;
        const fs::path file = folder.path() / "bench.db";
        if (whole) {
            must(open_bench(folder.path()));
            std::fstream(file, std::ios::in | std::ios::out | std::ios::binary) << std::string(4096, '?');
        } else {
            std::ofstream(file) << std::string(5000, 'x');
        }
        const auto opened = open_bench(folder.path());
        ASSERT_FALSE(opened.ok());
        EXPECT_EQ(opened.error().code, ErrorCode::storage);
        EXPECT_THAT(opened.error().message, HasSubstr("damaged or is no database"));
        EXPECT_EQ(opened.error().message.find('\n'), std::string::npos);
    }
}

TEST(SqliteBench, SaysThatADatabaseIsGoneRatherThanStartingAnew) {
    const TemporaryFolder folder;
    {
        auto store = must(open_bench(folder.path()));
        NewJob job = small_job();
        job.photographs = {small_photograph(Side::component, 10)};
        must(store->add_job(job, kWho));
    }
    fs::resize_file(folder.path() / "bench.db", 0);
    const auto opened = open_bench(folder.path());
    ASSERT_FALSE(opened.ok());
    EXPECT_THAT(opened.error().message, HasSubstr("empty although there are photographs"));
}

TEST(SqliteBench, AFullDatabaseIsOneClearLineAndChangesNothing) {
    const TemporaryFolder folder;
    JobName job;
    {
        auto store = must(open_bench(folder.path()));
        job = must(store->add_job(small_job(), kWho)).name;
    }
    const std::size_t files_before = files_below(folder.path() / "photographs");
    auto database = must(sqlite::Database::open(folder.path() / "bench.db", false, 1000));
    SqliteOptions options;
    options.max_pages = static_cast<int>(must(database->number("PRAGMA page_count")));
    auto store = must(open_sqlite_bench(folder.path(), OpenMode::existing, options));

    // Entries go in until no page is left; each is acknowledged or refused, and none is half there.
    std::size_t acknowledged = 0;
    std::optional<Error> error;
    while (!error && acknowledged < 1000) {
        const auto added = store->add_entries(
            job, {NoteEntry{std::string(900, 'n')}, NoteEntry{std::string(900, 'm')}}, kWho);
        added.ok() ? void(++acknowledged) : void(error = added.error());
    }
    ASSERT_TRUE(error.has_value());
    EXPECT_EQ(error->code, ErrorCode::storage);
    EXPECT_THAT(error->message, HasSubstr("disk is full; nothing was changed"));
    EXPECT_THAT(must(store->journal(job)), SizeIs(2 * acknowledged));

    NewJob more = small_job();
    more.map.name = std::string(5000, 'a');
    more.photographs = {small_photograph(Side::component, 5000)};
    EXPECT_FALSE(store->add_job(more, kWho).ok());
    EXPECT_THAT(must(store->jobs()), SizeIs(1));
    EXPECT_EQ(files_below(folder.path() / "photographs"), files_before);

    // With room again, work goes on.
    store = must(open_bench(folder.path()));
    EXPECT_TRUE(store->add_entries(job, {NoteEntry{"go on"}}, kWho).ok());
    EXPECT_THAT(must(store->journal(job)), SizeIs(2 * acknowledged + 1));
}

// Runs `check` in a child, so that limits and mounts of its own end with it. The child's exit code is its
// line number of the check that failed.
template <class Check>
int in_child(Check check_in_child) {
    const pid_t child = ::fork();
    if (child == 0) ::_exit(check_in_child());
    int status = 0;
    ::waitpid(child, &status, 0);
    return WIFEXITED(status) ? WEXITSTATUS(status) : -1;
}

TEST(SqliteBench, AFileThatMayNotGrowIsAFullDisk) {
    const TemporaryFolder folder;
    const JobName job = must(must(open_bench(folder.path()))->add_job(small_job(), kWho)).name;
    const int step = in_child([&] {
        // Files may grow to 300 kB: the database has room, a photograph of 1 MB has not.
        std::signal(SIGXFSZ, SIG_IGN);
        const rlimit limit{300'000, 300'000};
        ::setrlimit(RLIMIT_FSIZE, &limit);
        auto opened = open_bench(folder.path());
        if (!opened.ok()) return 1;
        auto store = std::move(opened).value();
        const auto refused = store->add_photograph(job, small_photograph(Side::component, 1'000'000), kWho);
        if (refused.ok() || refused.error().message.find("disk is full") == std::string::npos) return 2;
        std::size_t added = 0;
        while (added < 10'000 && store->add_entries(job, {NoteEntry{std::string(20'000, 'n')}}, kWho).ok())
            ++added;
        if (added == 10'000 || added == 0) return 3;
        const auto note = store->add_entries(job, {NoteEntry{std::string(300'000, 'n')}}, kWho);
        if (note.ok() || note.error().message.find("disk is full") == std::string::npos) return 4;
        const auto journal = store->journal(job);
        return journal.ok() && journal.value().size() == added ? 0 : 5;
    });
    EXPECT_EQ(step, 0);
    EXPECT_EQ(files_below(folder.path() / "photographs"), 0U);
    auto store = must(open_bench(folder.path()));
    EXPECT_THAT(must(store->photographs(job)), IsEmpty());
    EXPECT_TRUE(store->add_entries(job, {NoteEntry{"go on"}}, kWho).ok());
}

TEST(SqliteBench, ARealFullDiskIsOneClearLineAndChangesNothing) {
    const TemporaryFolder folder;
    if (::geteuid() != 0 || ::mount("eyelet-test", folder.path().c_str(), "tmpfs", 0, "size=512k") != 0)
        GTEST_SKIP()
            << "a small disk can be mounted only with root rights; the two tests before this one stand in";
    {
        auto store = must(open_bench(folder.path() / "bench"));
        const JobName job = must(store->add_job(small_job(), kWho)).name;
        std::size_t acknowledged = 0;
        std::optional<Error> error;
        while (!error && acknowledged < 10'000) {
            const auto added = store->add_entries(job, {NoteEntry{std::string(3000, 'n')}}, kWho);
            added.ok() ? void(++acknowledged) : void(error = added.error());
        }
        EXPECT_TRUE(error.has_value());
        EXPECT_THAT(error->message, HasSubstr("disk is full; nothing was changed"));
        EXPECT_THAT(must(store->journal(job)), SizeIs(acknowledged));
        const auto photograph = store->add_photograph(job, small_photograph(Side::component, 600'000), kWho);
        EXPECT_FALSE(photograph.ok());
        EXPECT_THAT(photograph.error().message, HasSubstr("disk is full"));
        EXPECT_EQ(files_below(folder.path() / "bench" / "photographs"), 0U);
        store.reset();
        auto again = must(open_bench(folder.path() / "bench"));
        EXPECT_THAT(must(again->journal(job)), SizeIs(acknowledged));
    }
    ::umount2(folder.path().c_str(), MNT_DETACH);
}

TEST(SqliteBench, AProcessThatDiesInATransactionLeavesNothingOfIt) {
    const TemporaryFolder folder;
    const JobName job = must(must(open_bench(folder.path()))->add_job(small_job(), kWho)).name;
    in_child([&] {
        auto database = must(sqlite::Database::open(folder.path() / "bench.db", false, 1000));
        (void)database->run_script(
            "PRAGMA foreign_keys = ON; BEGIN IMMEDIATE; UPDATE jobs SET complaint = 'half'");
        return 0;  // leaves by _exit, without a rollback
    });
    auto store = must(open_bench(folder.path()));
    EXPECT_EQ(must(store->job(job)).complaint, "");
}

TEST(SqliteBench, SaysThatAnotherProgramHoldsTheLock) {
    const TemporaryFolder folder;
    const JobName job = must(must(open_bench(folder.path()))->add_job(small_job(), kWho)).name;
    auto database = must(sqlite::Database::open(folder.path() / "bench.db", false, 1000));
    auto transaction = must(sqlite::Transaction::begin(*database, sqlite::Transaction::Kind::write));
    SqliteOptions options;
    options.busy_timeout_ms = 30;
    auto store = must(open_sqlite_bench(folder.path(), OpenMode::existing, options));
    const auto added = store->add_entries(job, {NoteEntry{"a"}}, kWho);
    ASSERT_FALSE(added.ok());
    EXPECT_EQ(added.error().code, ErrorCode::unavailable);
    // Readers do not wait for a writer.
    EXPECT_THAT(must(store->journal(job)), IsEmpty());
}

TEST(Transaction, RollsBackUnlessCommitted) {
    const TemporaryFolder folder;
    auto database = must(sqlite::Database::open(folder.path() / "a.db", true, 1000));
    ok(database->run_script("CREATE TABLE t (x INTEGER) STRICT"));
    {
        auto transaction = must(sqlite::Transaction::begin(*database, sqlite::Transaction::Kind::write));
        ok(database->run("INSERT INTO t VALUES (?1)", 1));
    }
    EXPECT_EQ(must(database->number("SELECT count(*) FROM t")), 0);
    {
        auto transaction = must(sqlite::Transaction::begin(*database, sqlite::Transaction::Kind::write));
        ok(database->run("INSERT INTO t VALUES (?1)", 1));
        ok(transaction.commit());
    }
    EXPECT_EQ(must(database->number("SELECT count(*) FROM t")), 1);
}

TEST(Utf8, IsToldFromWhatIsNot) {
    // RFC 3629 and the Unicode standard's table 3-7 of well-formed byte sequences.
    for (const char* good : {"", "a", "ä", "—", "工作台", "\xf4\x8f\xbf\xbf", "\xed\x9f\xbf", "\xee\x80\x80"})
        EXPECT_TRUE(is_utf8(good)) << good;
    for (const char* bad :
         {"\x80", "\xc0\x80", "\xc1\xbf", "\xe0\x9f\xbf", "\xed\xa0\x80", "\xf0\x8f\xbf\xbf",
          "\xf4\x90\x80\x80", "\xf5\x80\x80\x80", "\xc3", "\xe2\x80", "a\xff", "\xc3\x28"})
        EXPECT_FALSE(is_utf8(bad));
    EXPECT_TRUE(is_utf8(std::string_view("a\0b", 3)));
}

TEST(Sha256, AgreesWithTheStandardsExamples) {
    // FIPS 180-2, appendix B.1 ("abc"); the empty message from memory.
    const auto bytes = [](const std::string& text) {
        std::vector<std::byte> all;
        for (char c : text) all.push_back(static_cast<std::byte>(c));
        return all;
    };
    EXPECT_EQ(sha256_of(bytes("abc")), "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    EXPECT_EQ(sha256_of({}), "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
}

}  // namespace
}  // namespace eyelet
