// SPDX-License-Identifier: MIT
// Looking up channels by their gain control or their own name.
#include "system/channel_names.hpp"

namespace railtap::system {

std::vector<std::string> channel_names(const JsonView& system, const std::string& subject) {
  if (subject.empty()) return {};
  std::vector<std::string> of_control;
  for (const JsonView& amplifier : system["amplifier"].elements()) {
    for (const JsonView& channel : amplifier["channel"].elements()) {
      const std::string name = channel["name"].text();
      if (name.empty()) continue;
      if (name == subject) return {name};
      if (channel["control"].text() == subject) of_control.push_back(name);
    }
  }
  return of_control;
}

}  // namespace railtap::system
