// SPDX-License-Identifier: MIT
// The time of day as the files that last write it.
#include "system/utc_time.hpp"

#include <chrono>
#include <ctime>

namespace railtap::system {

std::string utc_now() {
  const std::time_t now = std::chrono::system_clock::to_time_t(std::chrono::system_clock::now());
  std::tm utc{};
  gmtime_r(&now, &utc);
  char text[sizeof "2000-01-01T00:00:00Z"];
  const auto length = std::strftime(text, sizeof text, "%Y-%m-%dT%H:%M:%SZ", &utc);
  return {text, length};
}

}  // namespace railtap::system
