// Photographs on disk: original bytes, untouched, under the SHA-256 of their content.
//
// A file comes in under a temporary name, is synced, and takes its final name only inside the transaction
// that stores its row; then its folder is synced. So a name under photographs/ab/ is always a whole file, and
// a row never names a file that is not there.
#pragma once

#include <cstddef>
#include <filesystem>
#include <string>
#include <vector>

#include "eyelet/core/result.h"

namespace eyelet {

[[nodiscard]] std::string sha256_of(const std::vector<std::byte>& bytes);

class PhotographFiles {
  public:
    explicit PhotographFiles(std::filesystem::path folder) : folder_(std::move(folder)) {}

    // A file under its temporary name. Goes away with this value unless it was placed, and placing can be
    // taken back as long as `settle` was not called.
    class Incoming {
      public:
        Incoming(Incoming&& other) noexcept;
        Incoming& operator=(Incoming&&) = delete;
        Incoming(const Incoming&) = delete;
        Incoming& operator=(const Incoming&) = delete;
        ~Incoming();

        [[nodiscard]] const std::string& sha256() const { return sha256_; }
        // Gives it its final name; a file of the same content that is there already serves as well.
        // REQUIRES: the caller holds the bench's write lock, so that nobody else can rely on the file
        // between this and `settle`.
        [[nodiscard]] Status place();
        // The row is committed: the file stays.
        void settle() { placed_here_ = false; }

      private:
        friend class PhotographFiles;
        Incoming(std::filesystem::path temporary, std::filesystem::path final_path, std::string sha256)
            : temporary_(std::move(temporary)), final_(std::move(final_path)), sha256_(std::move(sha256)) {}
        std::filesystem::path temporary_;  // empty: gone
        std::filesystem::path final_;
        std::string sha256_;
        bool placed_here_ = false;
    };

    [[nodiscard]] Result<Incoming> bring_in(const std::vector<std::byte>& bytes) const;
    // The whole file; an error where it is gone or no longer what its hash says.
    [[nodiscard]] Result<std::vector<std::byte>> read(const std::string& sha256) const;
    [[nodiscard]] std::filesystem::path path_of(const std::string& sha256) const;
    [[nodiscard]] bool holds_any() const;
    // Temporary files that a killed process left behind, older than a day.
    void sweep() const;

  private:
    std::filesystem::path folder_;
};

// Creates the folder and what is above it, durably.
[[nodiscard]] Status make_folder(const std::filesystem::path& folder);

}  // namespace eyelet
