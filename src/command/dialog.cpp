// SPDX-License-Identifier: MIT
// Questions and answers in plain lines.
#include "command/dialog.hpp"

#include <algorithm>
#include <array>
#include <memory>
#include <ostream>
#include <string_view>

#include <poll.h>
#include <sys/ioctl.h>
#include <unistd.h>

#include "files/atomic_file.hpp"
#include "units/print.hpp"
#include "units/visible.hpp"

namespace railtap::command {
namespace {

constexpr int look_for_interrupt_ms = 200;
constexpr const char* unreadable = "\xEF\xBF\xBD";  // U+FFFD
constexpr std::size_t longest_name = 40;

// A character of a text, or what is shown for it.
struct Shown {
  std::string text;
  std::size_t bytes = 1;
  bool blank = false;
};

Shown shown_at(std::string_view text, std::size_t at) {
  if (text[at] == ' ' || text[at] == '\n' || text[at] == '\t') return {" ", 1, true};
  const Character character = character_at(text, at);
  const bool hidden =
      !character.well_formed || is_control(character.code) || turns_direction(character.code);
  return {hidden ? unreadable : std::string(text.substr(at, character.bytes)), character.bytes,
          false};
}

// Words of one line after the other.
class LineBreaker {
 public:
  explicit LineBreaker(std::size_t columns) : columns_(std::max<std::size_t>(columns, 1)) {}

  void take(const Shown& character) {
    if (character.blank) return end_word();
    if (word_columns_ == columns_) end_word();
    word_ += character.text;
    ++word_columns_;
  }

  std::vector<std::string> lines() {
    end_word();
    end_line();
    return std::move(lines_);
  }

 private:
  void end_word() {
    if (word_columns_ == 0) return;
    if (line_columns_ > 0 && line_columns_ + 1 + word_columns_ > columns_) end_line();
    line_ += (line_columns_ > 0 ? " " : "") + word_;
    line_columns_ += (line_columns_ > 0 ? 1 : 0) + word_columns_;
    word_.clear();
    word_columns_ = 0;
  }

  void end_line() {
    if (line_columns_ == 0) return;
    lines_.push_back(std::move(line_));
    line_.clear();
    line_columns_ = 0;
  }

  std::size_t columns_, word_columns_ = 0, line_columns_ = 0;
  std::string word_, line_;
  std::vector<std::string> lines_;
};

struct Window {
  std::size_t columns = most_columns, rows = most_lines;
};

Window window_of(bool terminal) {
  constexpr std::size_t least_columns = 20, least_rows = 8;
  Window window;
  winsize size{};
  if (!terminal || ioctl(STDIN_FILENO, TIOCGWINSZ, &size) != 0 || size.ws_col == 0) return window;
  window.columns =
      std::clamp<std::size_t>(size.ws_col > 2 ? size.ws_col - 2U : 1U, least_columns, most_columns);
  window.rows = std::clamp<std::size_t>(size.ws_row, least_rows, most_lines);
  return window;
}

std::string key_line(const std::vector<Button>& buttons) {
  std::string line;
  for (const Button& button : buttons)
    line += (line.empty() ? "(" : ", ") + button.key + " " + button.label;
  return line.empty() ? line : line + ")";
}

void append(std::vector<std::string>& lines, const std::string& text, std::size_t columns) {
  for (std::string& line : broken_into_lines(text, columns)) lines.push_back(std::move(line));
}

// The meter's words go with the last paragraph, which has the positions of the knobs.
std::vector<std::string> lines_with_meter(const Screen& screen) {
  std::vector<std::string> lines = screen.lines;
  if (!screen.meter) return lines;
  const MeterReading& meter = *screen.meter;
  if (lines.empty()) lines.emplace_back();
  lines.back() += " The meter shows " + meter.digits + " " + meter.unit + " AC" +
                  (meter.note.empty() ? "" : ", but " + meter.note) + ".";
  return lines;
}

class TerminalDialog {
 public:
  explicit TerminalDialog(std::ostream& out) : out_(out), terminal_(isatty(STDIN_FILENO) != 0) {}

  void show(const Screen& screen) {
    const Window window = window_of(terminal_);
    left_.clear();
    if (!screen.title.empty()) left_.push_back("");
    append(left_, screen.title, window.columns);
    for (const std::string& paragraph : lines_with_meter(screen))
      append(left_, paragraph, window.columns);
    append(left_, screen.question, window.columns);
    if (!screen.question.empty()) append(left_, key_line(screen.buttons), window.columns);
    asks_ = !screen.question.empty();
    show_part();
  }

  std::optional<std::string> poll_answer() {
    std::string line;
    if (!read_line(line)) return std::nullopt;
    line = std::string(trimmed(line));
    if (!terminal_) out_ << line << '\n';  // a transcript shows what was answered
    if (!line.empty() || left_.empty()) return line;
    show_part();
    return std::nullopt;
  }

 private:
  // Of what is left, as much as the window takes.
  void show_part() {
    const std::size_t most = terminal_ ? window_of(true).rows - 1 : left_.size();
    const bool all = left_.size() <= most;
    const std::size_t now = all ? left_.size() : most - 1;
    for (std::size_t i = 0; i < now; ++i) out_ << left_[i] << '\n';
    left_.erase(left_.begin(), left_.begin() + static_cast<std::ptrdiff_t>(now));
    if (!all) out_ << "Enter shows the rest.\n";
    if (!all || asks_) out_ << "> ";
    out_ << std::flush;
  }

  // Waits for a moment. \throws Stopped at the end of the input
  bool read_line(std::string& line) {
    files::throw_if_interrupted();
    if (take_line(line)) return true;
    pollfd input{STDIN_FILENO, POLLIN, 0};
    if (::poll(&input, 1, look_for_interrupt_ms) <= 0) return false;
    std::array<char, 512> bytes{};
    const ssize_t got = read(STDIN_FILENO, bytes.data(), bytes.size());
    if (got > 0) {
      unread_.append(bytes.data(), static_cast<std::size_t>(got));
      return take_line(line);
    }
    files::throw_if_interrupted();  // both may have come while this process was not running
    if (unread_.empty()) throw Stopped{};
    line = std::move(unread_);
    unread_.clear();
    return true;
  }

  bool take_line(std::string& line) {
    const auto end = unread_.find('\n');
    if (end == std::string::npos) return false;
    line = unread_.substr(0, end);
    unread_.erase(0, end + 1);
    return true;
  }

  std::ostream& out_;
  std::string unread_;
  std::vector<std::string> left_;  // of the screen, not yet shown
  bool asks_ = false;
  bool terminal_;
};

}  // namespace

std::vector<std::string> broken_into_lines(const std::string& text, std::size_t columns) {
  LineBreaker breaker(columns);
  for (std::size_t at = 0; at < text.size();) {
    const Shown character = shown_at(text, at);
    breaker.take(character);
    at += character.bytes;
  }
  return breaker.lines();
}

std::string short_name(const std::string& name) {
  std::string result;
  std::size_t count = 0;
  for (std::size_t at = 0; at < name.size(); ++count) {
    if (count == longest_name) return result + "...";
    const Shown character = shown_at(name, at);
    result += character.text;
    at += character.bytes;
  }
  return result;
}

Asker terminal_asker(std::ostream& out) {
  const auto dialog = std::make_shared<TerminalDialog>(out);
  return {[dialog](const Screen& screen) { dialog->show(screen); },
          [dialog] { return dialog->poll_answer(); }};
}

std::string ask(const Asker& asker, const Screen& screen) {
  asker.show(screen);
  while (true) {
    if (const auto answer = asker.poll()) return *answer;
  }
}

}  // namespace railtap::command
