#include "eyelet/bench/sqlite.h"

#include <fmt/format.h>

#include <cerrno>

namespace eyelet::sqlite {

std::string Statement::text(int column) const {
    const unsigned char* bytes = sqlite3_column_text(handle_.get(), column);
    if (bytes == nullptr) return {};
    const auto count = static_cast<std::size_t>(sqlite3_column_bytes(handle_.get(), column));
    return {reinterpret_cast<const char*>(bytes), count};
}

int Statement::bind_text(int place, std::string_view value) {
    // SQLITE_TRANSIENT casts -1 to a function pointer in C's way; the library takes its own copy of the text.
    const auto transient = reinterpret_cast<sqlite3_destructor_type>(-1);
    return sqlite3_bind_text64(handle_.get(), place, value.empty() ? "" : value.data(), value.size(),
                               transient, SQLITE_UTF8);
}

Result<bool> Statement::step() {
    const int code = sqlite3_step(handle_.get());
    if (code == SQLITE_ROW) return true;
    if (code == SQLITE_DONE) return false;
    return failure(code);
}

Error Statement::failure(int code) const {
    return database_->failure(code);
}

Result<std::unique_ptr<Database>> Database::open(const std::filesystem::path& file, bool create,
                                                 int busy_timeout_ms) {
    sqlite3* handle = nullptr;
    const int flags = SQLITE_OPEN_READWRITE | (create ? SQLITE_OPEN_CREATE : 0) | SQLITE_OPEN_FULLMUTEX |
                      SQLITE_OPEN_EXRESCODE;
    const int code = sqlite3_open_v2(file.c_str(), &handle, flags, nullptr);
    std::unique_ptr<Database> database(new Database(file, handle));
    if (code != SQLITE_OK) return database->failure(code);
    sqlite3_busy_timeout(handle, busy_timeout_ms);
    return database;
}

Result<Statement> Database::prepare(std::string_view sql) {
    sqlite3_stmt* handle = nullptr;
    const int code =
        sqlite3_prepare_v2(handle_.get(), sql.data(), static_cast<int>(sql.size()), &handle, nullptr);
    if (code != SQLITE_OK) return failure(code);
    return Statement(*this, handle);
}

Status Database::run_script(const std::string& sql) {
    const int code = sqlite3_exec(handle_.get(), sql.c_str(), nullptr, nullptr, nullptr);
    return code == SQLITE_OK ? Status() : failure(code);
}

Error Database::failure(int code) const {
    const std::string file = file_.string();
    const int system_error = handle_ ? sqlite3_system_errno(handle_.get()) : 0;
    const bool no_space = system_error == ENOSPC || system_error == EDQUOT || system_error == EFBIG;
    const int primary = code & 0xff;
    if (primary == SQLITE_FULL || ((primary == SQLITE_IOERR || primary == SQLITE_CANTOPEN) && no_space))
        return storage_error(
            fmt::format("{}: the disk is full; nothing was changed. Free some space and try again", file));
    // SQLite has lost the system's own error by now: a quota, a limit on the file's size, or a failing disk.
    if (code == SQLITE_IOERR_WRITE || code == SQLITE_IOERR_SHMSIZE)
        return storage_error(fmt::format(
            "{}: the disk is full or fails; nothing was changed. Free some space and try again", file));
    switch (primary) {
        case SQLITE_BUSY:
        case SQLITE_LOCKED:
            return unavailable(fmt::format(
                "{}: another program has been writing for too long; nothing was changed. Try again", file));
        case SQLITE_CORRUPT:
        case SQLITE_NOTADB:
            return storage_error(fmt::format(
                "{}: the database is damaged or is no database; restore the bench folder from a copy", file));
        case SQLITE_READONLY:
        case SQLITE_PERM:
        case SQLITE_AUTH:
            return storage_error(
                fmt::format("{}: it may not be written; allow writing to the bench folder", file));
        case SQLITE_CANTOPEN:
            return storage_error(
                fmt::format("{}: it cannot be opened; is the folder there and may it be written?", file));
        case SQLITE_NOMEM:
            return storage_error(fmt::format("{}: there is not enough memory", file));
        default:
            return storage_error(fmt::format("{}: {} (SQLite code {}); nothing was changed", file,
                                             handle_ ? sqlite3_errmsg(handle_.get()) : sqlite3_errstr(code),
                                             code));
    }
}

Result<Transaction> Transaction::begin(Database& database, Kind kind) {
    EYELET_TRY(database.run(kind == Kind::write ? "BEGIN IMMEDIATE" : "BEGIN DEFERRED"));
    return Transaction(database);
}

Transaction::~Transaction() {
    // A failed rollback means that SQLite has rolled back by itself already.
    if (database_ != nullptr) (void)database_->run("ROLLBACK");
}

Status Transaction::commit() {
    EYELET_TRY(database_->run("COMMIT"));
    database_ = nullptr;
    return {};
}

}  // namespace eyelet::sqlite
