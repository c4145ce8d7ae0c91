// A small wrapper around the SQLite library: bound statements, transactions that roll back unless they are
// committed, and errors as one clear line. Nothing outside this layer includes it.
#pragma once

#include <sqlite3.h>

#include <cstdint>
#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <type_traits>
#include <utility>
#include <vector>

#include "eyelet/core/result.h"

namespace eyelet::sqlite {

class Database;

// One prepared statement. REQUIRES: the database outlives it.
class Statement {
  public:
    // Columns of the row that step() reached, counted from 0. Null reads as 0 or as an empty text.
    [[nodiscard]] std::int64_t integer(int column) const {
        return sqlite3_column_int64(handle_.get(), column);
    }
    [[nodiscard]] double real(int column) const { return sqlite3_column_double(handle_.get(), column); }
    [[nodiscard]] std::string text(int column) const;
    [[nodiscard]] bool is_null(int column) const {
        return sqlite3_column_type(handle_.get(), column) == SQLITE_NULL;
    }
    [[nodiscard]] std::optional<double> optional_real(int column) const {
        if (is_null(column)) return std::nullopt;
        return real(column);
    }

    // True: there is a row; false: the statement has run to its end.
    [[nodiscard]] Result<bool> step();
    // Values for the parameters ?1, ?2, ... in order. None may be NaN: SQLite would store a null instead.
    template <class... Values>
    [[nodiscard]] Status bind(const Values&... values) {
        int place = 0;
        int code = SQLITE_OK;
        ((code = code == SQLITE_OK ? bind_one(++place, values) : code), ...);
        return code == SQLITE_OK ? Status() : failure(code);
    }

  private:
    friend class Database;
    struct Finalise {
        void operator()(sqlite3_stmt* handle) const { sqlite3_finalize(handle); }
    };
    Statement(Database& database, sqlite3_stmt* handle) : database_(&database), handle_(handle) {}

    template <class T>
    [[nodiscard]] int bind_one(int place, const T& value) {
        if constexpr (std::is_floating_point_v<T>) {
            return sqlite3_bind_double(handle_.get(), place, value);
        } else if constexpr (std::is_integral_v<T>) {
            return sqlite3_bind_int64(handle_.get(), place, static_cast<sqlite3_int64>(value));
        } else if constexpr (std::is_same_v<T, std::nullptr_t>) {
            return sqlite3_bind_null(handle_.get(), place);
        } else {
            return bind_text(place, std::string_view(value));
        }
    }
    template <class T>
    [[nodiscard]] int bind_one(int place, const std::optional<T>& value) {
        return value ? bind_one(place, *value) : sqlite3_bind_null(handle_.get(), place);
    }
    [[nodiscard]] int bind_text(int place, std::string_view value);
    [[nodiscard]] Error failure(int code) const;

    Database* database_;
    std::unique_ptr<sqlite3_stmt, Finalise> handle_;
};

class Database {
  public:
    // Opens the file; `create` makes it where it is not there. Nothing is read from it yet.
    [[nodiscard]] static Result<std::unique_ptr<Database>> open(const std::filesystem::path& file,
                                                                bool create, int busy_timeout_ms);

    [[nodiscard]] Result<Statement> prepare(std::string_view sql);

    // Runs a statement to its end.
    template <class... Values>
    [[nodiscard]] Status run(std::string_view sql, const Values&... values) {
        EYELET_ASSIGN(Statement statement, prepare(sql));
        EYELET_TRY(statement.bind(values...));
        while (true) {
            EYELET_ASSIGN(const bool row, statement.step());
            if (!row) return {};
        }
    }
    // Runs several statements without parameters, separated by semicolons.
    [[nodiscard]] Status run_script(const std::string& sql);

    // All rows, each read by `read`.
    template <class Read, class... Values>
    [[nodiscard]] auto rows(std::string_view sql, Read read, const Values&... values)
        -> Result<std::vector<std::decay_t<std::invoke_result_t<Read, const Statement&>>>> {
        std::vector<std::decay_t<std::invoke_result_t<Read, const Statement&>>> found;
        EYELET_ASSIGN(Statement statement, prepare(sql));
        EYELET_TRY(statement.bind(values...));
        while (true) {
            EYELET_ASSIGN(const bool row, statement.step());
            if (!row) return found;
            found.push_back(read(std::as_const(statement)));
        }
    }
    // The first row, or none.
    template <class Read, class... Values>
    [[nodiscard]] auto row(std::string_view sql, Read read, const Values&... values)
        -> Result<std::optional<std::decay_t<std::invoke_result_t<Read, const Statement&>>>> {
        EYELET_ASSIGN(Statement statement, prepare(sql));
        EYELET_TRY(statement.bind(values...));
        EYELET_ASSIGN(const bool found, statement.step());
        std::optional<std::decay_t<std::invoke_result_t<Read, const Statement&>>> value;
        if (found) value = read(std::as_const(statement));
        return value;
    }
    // One number in one row; 0 where there is none.
    template <class... Values>
    [[nodiscard]] Result<std::int64_t> number(std::string_view sql, const Values&... values) {
        EYELET_ASSIGN(const auto found, row(
                                            sql, [](const Statement& s) { return s.integer(0); }, values...));
        return found.value_or(0);
    }

    [[nodiscard]] std::int64_t last_row() const { return sqlite3_last_insert_rowid(handle_.get()); }
    [[nodiscard]] std::int64_t changed_rows() const { return sqlite3_changes64(handle_.get()); }
    // What a failure means, as one line for the person.
    [[nodiscard]] Error failure(int code) const;

  private:
    struct Close {
        void operator()(sqlite3* handle) const { sqlite3_close_v2(handle); }
    };
    explicit Database(std::filesystem::path file, sqlite3* handle)
        : file_(std::move(file)), handle_(handle) {}

    std::filesystem::path file_;
    std::unique_ptr<sqlite3, Close> handle_;
};

// A transaction rolls back in its destructor unless commit() said ok.
class Transaction {
  public:
    enum class Kind {
        read,   // one snapshot for several reads
        write,  // takes the write lock at once, so that what it reads first stays true
    };
    [[nodiscard]] static Result<Transaction> begin(Database& database, Kind kind);
    Transaction(Transaction&& other) noexcept : database_(std::exchange(other.database_, nullptr)) {}
    Transaction& operator=(Transaction&&) = delete;
    Transaction(const Transaction&) = delete;
    Transaction& operator=(const Transaction&) = delete;
    ~Transaction();

    [[nodiscard]] Status commit();

  private:
    explicit Transaction(Database& database) : database_(&database) {}
    Database* database_;
};

}  // namespace eyelet::sqlite
