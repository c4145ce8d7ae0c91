// Identifiers that do not mix: a joint's name is not a part's name, and a place in the list of
// joints is not a place in the list of boards.
#pragma once

#include <compare>
#include <cstdint>
#include <functional>
#include <limits>
#include <string>
#include <utility>

namespace eyelet {

// A name given by a person or a file, compared as text.
template <class Tag>
class Name {
  public:
    Name() = default;
    explicit Name(std::string text) : text_(std::move(text)) {}
    [[nodiscard]] const std::string& text() const { return text_; }
    [[nodiscard]] bool empty() const { return text_.empty(); }
    auto operator<=>(const Name&) const = default;

  private:
    std::string text_;
};

// A place in one list of one assembly. Default-constructed it is invalid.
template <class Tag>
class Index {
  public:
    using Raw = std::uint32_t;
    Index() = default;
    constexpr explicit Index(std::size_t raw) : raw_(static_cast<Raw>(raw)) {}
    [[nodiscard]] constexpr Raw raw() const { return raw_; }
    [[nodiscard]] constexpr bool valid() const { return raw_ != std::numeric_limits<Raw>::max(); }
    auto operator<=>(const Index&) const = default;

  private:
    Raw raw_ = std::numeric_limits<Raw>::max();
};

struct JointTag;
struct PartTag;
struct BoardTag;
struct JobTag;
struct UnitTag;
struct AssemblyTag;
struct EntryTag;

using JointIndex = Index<JointTag>;
using PartIndex = Index<PartTag>;
using BoardIndex = Index<BoardTag>;

using JointName = Name<JointTag>;   // "U1.3"; in an assembly of several boards "main/U1.3"
using PartName = Name<PartTag>;     // "C3"
using BoardName = Name<BoardTag>;   // "main"
using JobName = Name<JobTag>;       // what `eyelet import` printed
using UnitName = Name<UnitTag>;     // serial number
using EntryName = Name<EntryTag>;   // one journal entry

}  // namespace eyelet

template <class Tag>
struct std::hash<eyelet::Name<Tag>> {
    std::size_t operator()(const eyelet::Name<Tag>& name) const noexcept {
        return std::hash<std::string>{}(name.text());
    }
};
template <class Tag>
struct std::hash<eyelet::Index<Tag>> {
    std::size_t operator()(const eyelet::Index<Tag>& index) const noexcept { return index.raw(); }
};
