// SPDX-License-Identifier: MIT
// The walk's screens on a page.
#include "command/page_asker.hpp"

#include <unistd.h>

#include <chrono>
#include <ostream>
#include <thread>

#include "files/interrupt.hpp"
#include "live/page_meter.hpp"
#include "units/print.hpp"

namespace railtap::command {
namespace {

constexpr const char* quit_key = "q";

class PagedDialog {
 public:
  PagedDialog(Asker terminal, page::Server& server, std::ostream& out,
              std::function<live::WatchJob()> listen)
      : terminal_(std::move(terminal)), server_(server), out_(out), listen_(std::move(listen)) {}

  void show(const Screen& screen) {
    meter_.reset();
    terminal_.show(screen);
    shown_ = page_state(screen, ++step_);
    server_.publish(shown_);
    if (!screen.listening || !listen_) return;
    meter_ = std::make_unique<live::PageMeter>(
        [listen = listen_, wanted = *screen.listening] { return job_of(listen(), wanted); },
        server_, shown_);
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

  static live::WatchJob job_of(live::WatchJob job, const Listening& wanted) {
    job.limits.volts_per_full_scale = wanted.volts_per_full_scale;
    if (wanted.target && wanted.volts_per_full_scale) {
      job.target = live::WatchTarget{live::level_of(*wanted.target, *wanted.volts_per_full_scale),
                                     wanted.tolerance};
    }
    return job;
  }

  // Until the next screen: a recording may take its time, and needs the input to itself.
  void show_taken() {
    meter_.reset();
    shown_.question.reset();
    shown_.buttons.clear();
    shown_.message = "taken: one moment";
    shown_.step = ++step_;
    server_.publish(shown_);
  }

  Asker terminal_;
  page::Server& server_;
  std::ostream& out_;
  std::function<live::WatchJob()> listen_;
  std::unique_ptr<live::PageMeter> meter_;
  page::PageState shown_;
  std::int64_t step_ = 0;
  bool keyboard_ = true;
};

}  // namespace

Asker page_asker(Asker terminal, page::Server& server, std::ostream& out,
                 std::function<live::WatchJob()> listen) {
  const auto dialog =
      std::make_shared<PagedDialog>(std::move(terminal), server, out, std::move(listen));
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
