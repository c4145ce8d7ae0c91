// Errors as values. A function that can fail on bad input returns Result<T>; an assertion is only
// for a mistake of our own. A message says what is wrong, where, and what would be right, on one line.
#pragma once

#include <cassert>
#include <optional>
#include <string>
#include <utility>
#include <variant>

namespace eyelet {

enum class ErrorCode {
    bad_input,   // what came in is wrong: a file, an option, an answer
    not_found,   // a thing that was named does not exist
    refused,     // well-formed, but it would break a rule (a fit too poor, a proof that is stale)
    storage,     // the disk or the database said no; nothing was acknowledged
    unavailable, // something outside is missing or busy
};

struct Error {
    ErrorCode code = ErrorCode::bad_input;
    std::string message;
};

[[nodiscard]] inline Error bad_input(std::string message) { return {ErrorCode::bad_input, std::move(message)}; }
[[nodiscard]] inline Error not_found(std::string message) { return {ErrorCode::not_found, std::move(message)}; }
[[nodiscard]] inline Error refused(std::string message) { return {ErrorCode::refused, std::move(message)}; }
[[nodiscard]] inline Error storage_error(std::string message) { return {ErrorCode::storage, std::move(message)}; }
[[nodiscard]] inline Error unavailable(std::string message) { return {ErrorCode::unavailable, std::move(message)}; }

template <class T>
class [[nodiscard]] Result {
  public:
    Result(T value) : content_(std::move(value)) {}
    Result(Error error) : content_(std::move(error)) {}

    [[nodiscard]] bool ok() const { return std::holds_alternative<T>(content_); }
    explicit operator bool() const { return ok(); }

    [[nodiscard]] T& value() & {
        assert(ok());
        return std::get<T>(content_);
    }
    [[nodiscard]] const T& value() const& {
        assert(ok());
        return std::get<T>(content_);
    }
    [[nodiscard]] T&& value() && {
        assert(ok());
        return std::get<T>(std::move(content_));
    }
    [[nodiscard]] const Error& error() const {
        assert(!ok());
        return std::get<Error>(content_);
    }

  private:
    std::variant<T, Error> content_;
};

// Success or an error, for functions that have nothing to return.
class [[nodiscard]] Status {
  public:
    Status() = default;
    Status(Error error) : error_(std::move(error)) {}
    [[nodiscard]] bool ok() const { return !error_; }
    explicit operator bool() const { return ok(); }
    [[nodiscard]] const Error& error() const {
        assert(!ok());
        return *error_;
    }

  private:
    std::optional<Error> error_;
};

}  // namespace eyelet

#define EYELET_JOIN_(a, b) a##b
#define EYELET_JOIN(a, b) EYELET_JOIN_(a, b)

// EYELET_TRY(status_expression): return its error, if it has one.
#define EYELET_TRY(expression)                                      \
    do {                                                            \
        if (auto eyelet_status = (expression); !eyelet_status.ok()) \
            return eyelet_status.error();                           \
    } while (false)

// EYELET_ASSIGN(auto x, result_expression): x is the value, or the error is returned.
#define EYELET_ASSIGN(declaration, expression)                                        \
    auto EYELET_JOIN(eyelet_result_, __LINE__) = (expression);                        \
    if (!EYELET_JOIN(eyelet_result_, __LINE__).ok())                                  \
        return EYELET_JOIN(eyelet_result_, __LINE__).error();                         \
    declaration = std::move(EYELET_JOIN(eyelet_result_, __LINE__)).value()
