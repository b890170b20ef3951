// SPDX-License-Identifier: MIT
// The findings of a verification: sentences, each with its severity.
#pragma once

#include <string>
#include <utility>
#include <vector>

namespace railtap::judge {

/// A fault is to be mended, a caution to be looked at again (what could not be decided is one), a
/// note is as it should be. Only notes leave a verification within its limits.
enum class Severity { fault, caution, note };

/// One thing found, in a sentence.
struct Finding {
  Severity severity = Severity::note;
  std::string text;
};

/// Adds findings to a list.
class Words {
 public:
  explicit Words(std::vector<Finding>& to) : to_(to) {}
  void fault(std::string text) { to_.push_back({Severity::fault, std::move(text)}); }
  void caution(std::string text) { to_.push_back({Severity::caution, std::move(text)}); }
  void note(std::string text) { to_.push_back({Severity::note, std::move(text)}); }

 private:
  std::vector<Finding>& to_;
};

}  // namespace railtap::judge
