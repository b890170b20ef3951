// SPDX-License-Identifier: MIT
// Questions and answers in plain lines.
#include "command/dialog.hpp"

#include <poll.h>
#include <unistd.h>

#include <array>
#include <ostream>
#include <sstream>

#include "files/interrupt.hpp"
#include "units/print.hpp"

namespace railtap::command {
namespace {

constexpr std::size_t line_width = 78;
constexpr int look_for_interrupt_ms = 200;

}  // namespace

Dialog::Dialog(std::ostream& out) : out_(out), terminal_(isatty(STDIN_FILENO) != 0) {}

void Dialog::say(const std::string& text) {
  std::istringstream words(text);
  std::string word, line;
  while (words >> word) {
    if (!line.empty() && line.size() + 1 + word.size() > line_width) {
      out_ << line << '\n';
      line.clear();
    }
    line += (line.empty() ? "" : " ") + word;
  }
  out_ << line << "\n" << std::flush;
}

std::string Dialog::ask(const std::string& question) {
  out_ << question << "\n> " << std::flush;
  std::string line;
  if (!read_line(line)) throw Stopped{};
  line = std::string(trimmed(line));
  if (!terminal_) out_ << line << '\n';  // a transcript shows what was answered
  if (line == "q" || line == "Q") throw Stopped{};
  return line;
}

void Dialog::wait(const std::string& what) {
  (void)ask(what + " Then press Enter.");
}

bool Dialog::read_line(std::string& line) {
  while (true) {
    files::throw_if_interrupted();
    if (const auto end = unread_.find('\n'); end != std::string::npos) {
      line = unread_.substr(0, end);
      unread_.erase(0, end + 1);
      return true;
    }
    pollfd input{STDIN_FILENO, POLLIN, 0};
    if (poll(&input, 1, look_for_interrupt_ms) <= 0) continue;
    std::array<char, 512> bytes{};
    const ssize_t got = read(STDIN_FILENO, bytes.data(), bytes.size());
    if (got > 0) {
      unread_.append(bytes.data(), static_cast<std::size_t>(got));
      continue;
    }
    files::throw_if_interrupted();  // both may have come while this process was not running
    line = std::move(unread_);
    unread_.clear();
    return !line.empty();
  }
}

}  // namespace railtap::command
