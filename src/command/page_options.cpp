// SPDX-License-Identifier: MIT
// The options of commands that serve a page, how its address is told, and a walk that is asked on
// the page and in the terminal at once.
#include "command/page_options.hpp"

#include <chrono>
#include <cstdlib>
#include <iostream>
#include <ostream>
#include <thread>

#include <unistd.h>

#include "files/atomic_file.hpp"
#include "live/page_meter.hpp"
#include "live/watch_page.hpp"
#include "units/error.hpp"
#include "units/print.hpp"

namespace railtap::command {

// The options of a page.

namespace {

constexpr int first_port = 1024, last_port = 65535;  // below are the system's own [RFC 6335, 6]

}  // namespace

void add_page_options(Command& command, PageOptions& options) {
  command.flag("--page", options.page,
               "Serve a page with readings and buttons, to this computer only");
  command
      .flag("--lan", options.request.lan,
            "Serve it to a phone in the same network; a QR code shows the address")
      .needs("--page");
  command.number("--port", options.request.port, "Port of the page").called("N").needs("--page");
}

std::shared_ptr<page::Server> open_page(const PageOptions& options) {
  if (!options.page) return nullptr;
  const auto port = options.request.port;
  if (port && (*port < first_port || *port > last_port)) {
    throw Error(std::to_string(*port) + " is not a port that a program may use", "--port",
                "give one from 1024 to 65535, or leave it out");
  }
  return std::make_shared<page::Server>(options.request);
}

void tell_address(const page::Server& server, bool ascii) {
  const bool colour = std::getenv("NO_COLOR") == nullptr && isatty(STDERR_FILENO) != 0;
  const live::PageNotice notice{server.address(), server.short_address(), server.lan()};
  live::print(
      notice,
      ascii ? live::CodeInk::none : (colour ? live::CodeInk::colours : live::CodeInk::light),
      std::cerr);
}

// The walk's screens on a page.

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
    shown_.message = "received, one moment";
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

namespace {

// The meter's display, with the way to the target where it reads the tone.
page::Meter meter_of(const MeterReading& meter, const std::optional<Listening>& wanted) {
  constexpr Volts full_scale{1000.0};  // any: the level is turned into the same volts again
  live::WatchView view;
  view.volts_per_full_scale = full_scale;
  if (wanted && wanted->target && meter.note.empty())
    view.target = live::WatchTarget{live::level_of(*wanted->target, full_scale), wanted->tolerance};
  live::ChannelReading reading;
  if (meter.volts > Volts(0.0)) reading.level = live::level_of(meter.volts, full_scale);
  page::Meter shown;
  shown.name = "multimeter, AC";
  shown.in_focus = true;
  shown.digits = meter.digits;
  shown.unit = meter.unit;
  if (!meter.note.empty()) shown.notes.push_back({meter.note, page::Emphasis::caution});
  if (!view.target) return shown;
  const page::Meter figures = live::meter_of(reading, view, true);
  shown.way = figures.way;
  shown.advice = figures.advice;
  shown.bar = figures.bar;
  return shown;
}

}  // namespace

page::PageState page_state(const Screen& screen, std::int64_t step) {
  page::PageState state;
  state.title = screen.title;
  for (const std::string& line : screen.lines) state.instructions.push_back({line});
  if (screen.meter) state.meters.push_back(meter_of(*screen.meter, screen.listening));
  if (!screen.question.empty()) state.question = page::Question{screen.question};
  for (const Button& button : screen.buttons) {
    if (button.key != quit_key) state.buttons.push_back({button.key, button.label});
  }
  state.still = true;
  state.step = step;
  return state;
}

}  // namespace railtap::command
