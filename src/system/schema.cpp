// SPDX-License-Identifier: MIT
// The schema line of files that last, the time that they write, and what to say when the line does
// not fit.
#include "system/schema.hpp"

#include <charconv>
#include <chrono>
#include <ctime>

#include "units/error.hpp"

namespace railtap::system {

// --- schema --------------------------------------------------------------------------------------

namespace {

std::optional<int> version_in(std::string_view text) {
  int version = 0;
  const auto* const end = text.data() + text.size();
  const auto result = std::from_chars(text.data(), end, version);
  if (result.ec != std::errc() || result.ptr != end || version < 1) return std::nullopt;
  return version;
}

}  // namespace

void require_schema(const std::optional<std::string>& found, std::string_view kind, int newest,
                    const std::string& place) {
  const std::string wanted = std::string(kind) + "/" + std::to_string(newest);
  if (!found) {
    throw Error("the file does not say what it is", place,
                "its first line should be schema = \"" + wanted + "\"");
  }
  const auto slash = found->rfind('/');
  const bool is_kind = slash != std::string::npos && found->substr(0, slash) == kind;
  const auto version =
      is_kind ? version_in(std::string_view(*found).substr(slash + 1)) : std::nullopt;
  if (!version) {
    throw Error("the file is a \"" + *found + "\", not a \"" + wanted + "\"", place,
                "name a file of that kind");
  }
  if (*version > newest) {
    throw Error("the file is a \"" + *found +
                    "\", written by a newer railtap; this one reads up to \"" + wanted + "\"",
                place, "update railtap, or make the file again with this one");
  }
}

// --- time ----------------------------------------------------------------------------------------

std::string utc_now() {
  const std::time_t now = std::chrono::system_clock::to_time_t(std::chrono::system_clock::now());
  std::tm utc{};
  gmtime_r(&now, &utc);
  char text[sizeof "2000-01-01T00:00:00Z"];
  const auto length = std::strftime(text, sizeof text, "%Y-%m-%dT%H:%M:%SZ", &utc);
  return {text, length};
}

}  // namespace railtap::system
