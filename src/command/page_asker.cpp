// SPDX-License-Identifier: MIT
// The walk's screens on a page.
#include "command/page_asker.hpp"

#include <unistd.h>

#include <chrono>
#include <ostream>
#include <thread>

#include "files/interrupt.hpp"
#include "units/print.hpp"

namespace railtap::command {
namespace {

constexpr const char* quit_key = "q";

class PagedDialog {
 public:
  PagedDialog(Asker terminal, page::Server& server, std::ostream& out)
      : terminal_(std::move(terminal)), server_(server), out_(out) {}

  void show(const Screen& screen) {
    terminal_.show(screen);
    shown_ = page_state(screen, ++step_);
    server_.publish(shown_);
  }

  std::optional<std::string> poll() {
    auto answer = ask_page();
    if (!answer) answer = ask_terminal();
    if (answer) show_taken();
    return answer;
  }

 private:
  std::optional<std::string> ask_page() {
    const auto press = server_.take();
    if (!press) return std::nullopt;
    std::string text(trimmed(press->text));
    out_ << text << '\n' << std::flush;
    return text;
  }

  std::optional<std::string> ask_terminal() {
    if (keyboard_) {
      try {
        return terminal_.poll();
      } catch (const Stopped&) {
        if (isatty(STDIN_FILENO) != 0) throw;
        keyboard_ = false;
      }
    }
    files::throw_if_interrupted();
    std::this_thread::sleep_for(std::chrono::milliseconds(50));
    return std::nullopt;
  }

  // Until the next screen: a recording may take its time.
  void show_taken() {
    shown_.question.reset();
    shown_.buttons.clear();
    shown_.message = "taken: one moment";
    shown_.step = ++step_;
    server_.publish(shown_);
  }

  Asker terminal_;
  page::Server& server_;
  std::ostream& out_;
  page::PageState shown_;
  std::int64_t step_ = 0;
  bool keyboard_ = true;
};

}  // namespace

Asker page_asker(Asker terminal, page::Server& server, std::ostream& out) {
  const auto dialog = std::make_shared<PagedDialog>(std::move(terminal), server, out);
  return {[dialog](const Screen& screen) { dialog->show(screen); },
          [dialog] { return dialog->poll(); }};
}

page::PageState page_state(const Screen& screen, std::int64_t step) {
  page::PageState state;
  state.title = screen.title;
  for (const std::string& line : screen.lines) state.instructions.push_back({line});
  if (!screen.question.empty()) state.question = page::Question{screen.question};
  for (const Button& button : screen.buttons) {
    if (button.key != quit_key) state.buttons.push_back({button.key, button.label});
  }
  state.still = true;
  state.step = step;
  return state;
}

}  // namespace railtap::command
