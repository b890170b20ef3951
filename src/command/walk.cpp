// SPDX-License-Identifier: MIT
// `railtap walk`: from the first tone to the set gains, each recording checked before the next
// step.
#include <cctype>
#include <iostream>
#include <memory>

#include "command/command.hpp"
#include "command/dialog.hpp"
#include "command/live_recording.hpp"
#include "command/page_asker.hpp"
#include "command/page_options.hpp"
#include "command/walk_draft.hpp"
#include "command/walk_loop.hpp"
#include "command/walk_steps.hpp"
#include "units/error.hpp"
#include "units/print.hpp"

namespace railtap::command {
namespace {

namespace fs = std::filesystem;

struct WalkOptions {
  std::string record, system;
  LiveOptions live;
  Seconds length{5.0};  // of what is recorded live; a turn of the volume takes longer
  PageOptions page;
};

std::optional<Described> described_in(const WalkOptions& options) {
  if (options.system.empty()) return std::nullopt;
  return described(system::read_system(options.system));
}

// What was taken from a description is in the record; a file that has changed since is not looked
// at by halves.
void require_same_system(const WalkOptions& options, const WalkState& state,
                         const std::optional<Described>& told) {
  if (!told || !state.done.contains("facts")) return;
  if (same_document(system::read_job_record(options.record).system, told->document)) return;
  throw Error("the record was begun without this description, or the file has changed since",
              options.system, "go on without --system, or begin a new record");
}

// "job-gain-front-2.wav" beside the record, the first number that is not taken.
fs::path free_name(const fs::path& record, std::string name) {
  constexpr std::size_t longest = 60;
  for (char& c : name) {
    const bool plain = std::isalnum(static_cast<unsigned char>(c)) != 0;
    if (!plain) c = '-';
  }
  const std::string stem = record.stem().string() + "-" + name.substr(0, longest) + "-";
  for (int n = 1;; ++n) {
    auto path = record.parent_path() / (stem + std::to_string(n) + ".wav");
    if (!fs::exists(path)) return path;
  }
}

fs::path record_live(const WalkOptions& options, const Take& take) {
  LiveOptions live = options.live;
  live.keep = free_name(options.record, take.step).string();
  audio::InputStream input(live.input);
  LiveRecording taken(live, files::Overwrite::refuse);
  taken.record(input, take.length);
  return taken.path();
}

std::vector<std::string> greeting_of(const WalkOptions& options, const WalkState& state) {
  if (state.done.empty()) return {};
  return {"Going on with " + short_name(options.record) + ": " + std::to_string(state.done.size()) +
          " steps are done."};
}

// The same command again, as it has to be typed.
std::string command_line(const std::string& program, const WalkOptions& options) {
  std::string line = program + " walk " + shell_word(options.record);
  if (!options.system.empty()) line += " --system " + shell_word(options.system);
  return line;
}

Screen last_screen(const WalkOptions& options, const WalkState& state) {
  Screen screen;
  const std::string volume =
      state.volume ? "head unit at volume " + std::to_string(*state.volume) + " at most, " : "";
  screen.lines.push_back(
      state.left_out.empty()
          ? "Done: " + volume + "every gain set, all of it in " + options.record + "."
          : "Done: " + volume + "but not all of it; the record is " + options.record + ".");
  for (const auto& [name, why] : state.left_out)
    screen.lines.push_back("Left out: " + short_name(name) + ", " + why + ".");
  screen.lines.emplace_back(
      "Before the speakers go back on: head unit off, battery off where wiring is touched, volume "
      "down. Then listen at low volume first.");
  return screen;
}

ExitStatus walk(const WalkOptions& options, const std::string& program, const Asker& asker) {
  const WalkState state = read_walk_state(options.record);
  WalkTools tools;
  tools.program = program;
  tools.system_file = options.system;
  tools.described = described_in(options);
  tools.length = options.length;
  tools.record = [&options](const Take& take) { return record_live(options, take); };
  require_same_system(options, state, tools.described);

  WalkJob job;
  job.record = options.record;
  job.asker = asker;
  job.steps = [&tools](const WalkState& known) { return walk_steps(tools, known); };
  job.greeting = greeting_of(options, state);
  const WalkState end = walk_through(job);
  if (!end.done.contains("end")) mark_step(options.record, "end", system::Json::object());
  remove_draft(options.record);
  asker.show(last_screen(options, end));
  return end.left_out.empty() ? ExitStatus::within_limits : ExitStatus::outside_limits;
}

ExitStatus run(const WalkOptions& options, const std::string& program) {
  const auto page = open_page(options.page);
  if (page) tell_address(*page, false);
  const Asker terminal = terminal_asker(std::cout);
  try {
    return walk(options, program, page ? page_asker(terminal, *page, std::cout) : terminal);
  } catch (const Stopped&) {
    std::cout << "\nStopped. Go on with: " << command_line(program, options) << '\n';
    return ExitStatus::outside_limits;
  }
}

}  // namespace

Command walk_command(const std::string& program) {
  auto options = std::make_shared<WalkOptions>();
  Command command(
      "walk",
      "Be led from the first tone to the set gains, each recording checked before the next step");
  command.footer =
      "Examples:\n"
      "  railtap walk job.json\n"
      "  railtap system van.toml\n"
      "  railtap walk job.json --system van.toml\n"
      "At every question: b goes back, s leaves the step out and asks why, r begins it again,\n"
      "? helps, q stops. The same command goes on at the question where it was.\n"
      "Exit status: 0 when the job is complete, 1 when it was stopped before, or a step was left "
      "out.";
  command.text("RECORD", options->record, "The job's record (JSON); made if missing").required();
  command
      .text("--system", options->system,
            "The described system (TOML): what stands in it is not asked")
      .called("FILE");
  command.text("--device", options->live.input.device,
               "Input: its number or part of its name, see `railtap devices`");
  command.quantity("--rate", options->live.input.rate,
                   "Samples per second (default: 48 kHz where the input takes it)");
  command.quantity("--seconds", options->length, "How long to record a steady tone");
  add_page_options(command, options->page);
  command.run = [options, program] { return run(*options, program); };
  return command;
}

}  // namespace railtap::command
