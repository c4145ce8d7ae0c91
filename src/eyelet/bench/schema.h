// The database's schema and how an older one becomes a newer one.
#pragma once

#include <string>

#include "eyelet/bench/sqlite.h"
#include "eyelet/core/result.h"

namespace eyelet {

// The schema that this program writes: the number of the last migration, kept in the database as
// user_version.
[[nodiscard]] int newest_schema();

// Brings the database to the newest schema, each migration whole or not at all. A database of a newer
// program, or of another one, is refused in words.
[[nodiscard]] Status migrate(sqlite::Database& database, const std::string& file);

}  // namespace eyelet
