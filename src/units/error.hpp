// SPDX-License-Identifier: MIT
// The one error type. It is thrown where the fault is found and printed in one place, main.cpp.
#pragma once

#include <exception>
#include <string>
#include <utility>

namespace railtap {

/// Why something could not be done, for a person: what was wrong, where, and what to do next.
///
/// C++20 has no std::expected; an exception carries the same three texts past code that can do
/// nothing about them. Only main.cpp turns it into words and exit status 2.
class Error : public std::exception {
 public:
  /// \param problem what was wrong, with what was got: "the load is 0 ohm"
  /// \param place   where: a file, an option, a line; may be empty
  /// \param remedy  what to do next: "give the speaker's impedance, for example --load 4ohm"
  Error(std::string problem, std::string place, std::string remedy)
      : problem_(std::move(problem)), place_(std::move(place)), remedy_(std::move(remedy)) {
    sentence_ = place_.empty() ? problem_ : place_ + ": " + problem_;
    if (!remedy_.empty()) sentence_ += "; " + remedy_;
  }

  [[nodiscard]] const char* what() const noexcept override { return sentence_.c_str(); }
  [[nodiscard]] const std::string& problem() const { return problem_; }
  [[nodiscard]] const std::string& place() const { return place_; }
  [[nodiscard]] const std::string& remedy() const { return remedy_; }

 private:
  std::string problem_, place_, remedy_, sentence_;
};

/// Thrown where work stops because the person pressed Ctrl-C; exit status 130.
class Interrupted : public std::exception {
 public:
  [[nodiscard]] const char* what() const noexcept override { return "interrupted"; }
};

}  // namespace railtap
