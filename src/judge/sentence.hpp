// SPDX-License-Identifier: MIT
// Numbers put into a sentence, and the sentences that findings of a verification are.
#pragma once

#include <string>
#include <utility>
#include <vector>

namespace railtap::judge {

// Numbers and names put into a sentence.

/// The text that printf would print, however long it is. The compiler checks that the numbers fit
/// the format.
[[nodiscard, gnu::format(printf, 1, 2)]] std::string sentence(const char* format, ...);

/// "front right"; "channel 2" where the output has no name. \param number from 1
[[nodiscard]] std::string channel_called(const std::string& name, int number);

/// The same by a list that has the names of channels 1, 2, … in order, or of none.
[[nodiscard]] std::string channel_called(const std::vector<std::string>& names, int number);

/// A channel's name in such a list; empty where it has none.
[[nodiscard]] std::string name_of_channel(const std::vector<std::string>& names, int number);

// The findings of a verification: sentences, each with its severity.

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
