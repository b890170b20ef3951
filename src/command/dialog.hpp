// SPDX-License-Identifier: MIT
// Questions and answers in plain lines, for a terminal, a pipe and a screen reader alike.
#pragma once

#include <iosfwd>
#include <string>

namespace railtap::command {

/// The person wants to stop here, or there are no more answers.
struct Stopped {};

/// Talks on an output and reads answers from standard input.
class Dialog {
 public:
  explicit Dialog(std::ostream& out);

  /// A paragraph, broken into lines.
  void say(const std::string& text);

  /// Asks, and waits for a line; blanks at its ends are taken off. \throws Stopped for q and at the
  /// end of the input, Interrupted on Ctrl-C
  [[nodiscard]] std::string ask(const std::string& question);

  /// Waits until the person has done something. \throws as ask does
  void wait(const std::string& what);

 private:
  bool read_line(std::string& line);

  std::ostream& out_;
  std::string unread_;
  bool terminal_;
};

}  // namespace railtap::command
