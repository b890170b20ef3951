// SPDX-License-Identifier: MIT
// `railtap walk`: from the first tone to the set gains, each recording checked before the next
// step.
#include <cctype>
#include <iostream>
#include <memory>
#include <random>

#include "command/command.hpp"
#include "command/dialog.hpp"
#include "command/live_input.hpp"
#include "command/page_options.hpp"
#include "command/rehearsal.hpp"
#include "command/walk.hpp"
#include "command/walk_state.hpp"
#include "report/sheet/sheet.hpp"
#include "system/json.hpp"
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
  bool rig = false;
  std::string description;
  std::optional<int> seed;
};

constexpr const char* rehearsal_record = "rehearsal.json";

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

// --- Rehearsal -----------------------------------------------------------------------------------

// A number that is easily typed again.
int drawn_seed() {
  constexpr unsigned highest = 9999;
  std::random_device device;
  return static_cast<int>(device() % highest) + 1;
}

// What the record says of the rehearsal that it belongs to; null without a record or a rehearsal.
system::Json rehearsal_in(const std::string& record) {
  if (!fs::exists(record)) return nullptr;
  return system::read_job_record(record).rehearsal;
}

void require_same_kind(const WalkOptions& options, const system::Json& noted) {
  if (!fs::exists(options.record)) return;
  if (options.rig && noted.is_null())
    throw Error("it is the record of a real job", options.record,
                "give the rehearsal a record of its own");
  if (!options.rig && !noted.is_null())
    throw Error("it is the record of a rehearsal", options.record,
                "go on with --rig, or give the job a record of its own");
}

// A rehearsal that was begun goes on with its own seed.
int seed_of(const WalkOptions& options, const system::Json& noted) {
  if (noted.is_null()) return options.seed ? *options.seed : drawn_seed();
  const auto begun = system::JsonView(noted)["seed"].integer();
  if (!begun) throw Error("the rehearsal's seed is damaged", options.record, "begin a new record");
  if (options.seed && *options.seed != *begun)
    throw Error("it was begun with seed " + std::to_string(*begun), options.record,
                "leave --seed out, or begin a new record");
  return static_cast<int>(*begun);
}

// So does its car.
std::string description_of(const WalkOptions& options, const system::Json& noted) {
  if (noted.is_null()) return options.description;
  std::string begun = system::JsonView(noted)["description"].text();
  if (!options.description.empty() && options.description != begun)
    throw Error("it was begun with " + (begun.empty() ? "the camper van" : short_name(begun)),
                options.record, "leave --description out, or begin a new record");
  return begun;
}

// Notes at once that the record is a rehearsal's.
Rehearsal begin_rehearsal(const WalkOptions& options, const system::Json& noted) {
  const int seed = seed_of(options, noted);
  if (seed < 0) throw Error("a seed is 0 or more", "--seed", "0 draws no faults");
  Rehearsal rehearsal({description_of(options, noted), static_cast<std::uint64_t>(seed)},
                      read_draft(options.record).rehearsal);
  if (noted.is_null()) system::set_rehearsal(options.record, rehearsal.outcome(false));
  return rehearsal;
}

std::string rehearsal_words(const WalkOptions& options) {
  const system::Json noted = rehearsal_in(options.record);
  const system::JsonView view(noted);
  return "REHEARSAL on a virtual car, " + short_name(view["car"].text()) + ", seed " +
         std::to_string(view["seed"].integer().value_or(0)) +
         ": turn its controls by typing; ? lists the words.";
}

// --- Recording -----------------------------------------------------------------------------------

fs::path record_live(const WalkOptions& options, const Take& take) {
  LiveOptions live = options.live;
  live.keep = free_name(options.record, take.step).string();
  audio::InputStream input(live.input);
  LiveRecording taken(live, files::Overwrite::refuse);
  taken.record(input, take.length);
  return taken.path();
}

std::vector<std::string> greeting_of(const WalkOptions& options, const WalkState& state) {
  std::vector<std::string> lines;
  if (options.rig) lines.push_back(rehearsal_words(options));
  if (!state.done.empty()) {
    lines.push_back("Going on with " + short_name(options.record) + ": " +
                    std::to_string(state.done.size()) + " steps are done.");
  }
  return lines;
}

// "job-sheet.html" beside the record; the first name that is not taken. Empty: it was written when
// the job was finished.
fs::path write_sheet(const fs::path& record) {
  const std::string stem = record.stem().string() + "-sheet";
  fs::path path = record.parent_path() / (stem + ".html");
  for (int n = 2; fs::exists(path); ++n)
    path = record.parent_path() / (stem + "-" + std::to_string(n) + ".html");
  files::write_file(
      path, report::sheet_html(system::job_record_document(system::read_job_record(record))),
      files::Overwrite::refuse);
  return path;
}

// The same command again, as it has to be typed.
std::string command_line(const std::string& program, const WalkOptions& options) {
  std::string line = program + " walk " + shell_word(options.record);
  if (!options.system.empty()) line += " --system " + shell_word(options.system);
  if (!options.live.input.device.empty())
    line += " --device " + shell_word(options.live.input.device);
  if (options.rig) line += " --rig";
  if (!options.description.empty()) line += " --description " + shell_word(options.description);
  return line;
}

Screen last_screen(const WalkOptions& options, const WalkState& state, const Rehearsal* rehearsal,
                   const fs::path& sheet) {
  Screen screen;
  const std::string volume =
      state.volume ? "head unit at volume " + std::to_string(*state.volume) + " at most, " : "";
  screen.lines.push_back(
      state.left_out.empty()
          ? "Done: " + volume + "every gain set, all of it in " + options.record + "."
          : "Done, with steps skipped: " + volume + "all of it in " + options.record + ".");
  for (const auto& [name, why] : state.left_out)
    screen.lines.push_back("Skipped: " + short_name(name) + ", " + why + ".");
  if (!sheet.empty()) screen.lines.push_back("The sheet to print and hand over: " + sheet.string());
  if (rehearsal != nullptr) {
    screen.lines.emplace_back("REHEARSAL: what was wrong with the virtual car:");
    for (const std::string& line : rehearsal->told()) screen.lines.push_back(line);
    return screen;
  }
  screen.lines.emplace_back(
      "Before the speakers go back on: head unit off, battery off where wiring is touched, volume "
      "down. Then listen at low volume first.");
  return screen;
}

WalkTools tools_of(const WalkOptions& options, const std::string& program, Rehearsal* rehearsal) {
  WalkTools tools;
  tools.program = program;
  tools.system_file = options.system;
  tools.described = described_in(options);
  tools.length = options.length;
  tools.record = [&options](const Take& take) { return record_live(options, take); };
  if (rehearsal == nullptr) return tools;
  tools.rehearses = true;
  tools.system_file = "the rating plates of the virtual car";
  tools.described = rehearsal->described();
  tools.record = [&options, rehearsal](const Take& take) {
    fs::path path = free_name(options.record, take.step);
    rehearsal->record(take, path);
    return path;
  };
  tools.gain_position = [rehearsal](const std::string& control) {
    return rehearsal->gain_position(control);
  };
  return tools;
}

// The mark of the end comes once; so does the sheet.
fs::path finish(const WalkOptions& options, const WalkState& end, const Rehearsal* rehearsal) {
  if (end.done.contains("end")) return {};
  if (rehearsal != nullptr) system::set_rehearsal(options.record, rehearsal->outcome(true));
  fs::path sheet = write_sheet(options.record);
  mark_step(options.record, "end", system::Json::object());
  return sheet;
}

ExitStatus walk(const WalkOptions& options, const std::string& program, const Asker& asker) {
  const system::Json noted = rehearsal_in(options.record);
  require_same_kind(options, noted);
  std::optional<Rehearsal> car;
  if (options.rig) car.emplace(begin_rehearsal(options, noted));
  Rehearsal* const rehearsal = car ? &*car : nullptr;
  const WalkState state = read_walk_state(options.record);
  const WalkTools tools = tools_of(options, program, rehearsal);
  if (rehearsal == nullptr) require_same_system(options, state, tools.described);

  WalkJob job;
  job.record = options.record;
  job.asker = asker;
  job.steps = [&tools](const WalkState& known) { return walk_steps(tools, known); };
  job.greeting = greeting_of(options, state);
  if (rehearsal != nullptr) job.aside = rehearsal->aside();
  const WalkState end = walk_through(job);
  const fs::path sheet = finish(options, end, rehearsal);
  if (rehearsal == nullptr) remove_draft(options.record);
  asker.show(last_screen(options, end, rehearsal, sheet));
  return end.left_out.empty() ? ExitStatus::within_limits : ExitStatus::outside_limits;
}

// Opens the input while a question waits for its recording. A virtual car has none; its meter is
// among its words.
std::function<live::WatchJob()> listener_of(const WalkOptions& options) {
  if (options.rig) return nullptr;
  return [input = options.live.input] { return watched_input(input); };
}

ExitStatus run(WalkOptions options, const std::string& program) {
  if (options.record.empty() && !options.rig)
    throw Error("no record is named", "RECORD", "for example: walk job.json");
  if (options.record.empty()) options.record = rehearsal_record;
  files::refuse_standard_input(options.record);
  const auto page = open_page(options.page);
  if (page) tell_address(*page, false);
  Asker asker = terminal_asker(std::cout);
  if (page) asker = page_asker(asker, *page, std::cout, listener_of(options));
  const std::string again = "Continue with: " + command_line(program, options) + '\n';
  try {
    return walk(options, program, asker);
  } catch (const Stopped&) {
    std::cout << "\nStopped. " << again;
    return ExitStatus::outside_limits;
  } catch (const Interrupted&) {
    std::cout << '\n' << again << std::flush;
    throw;
  }
}

}  // namespace

Command walk_command(const std::string& program) {
  auto options = std::make_shared<WalkOptions>();
  Command command("walk",
                  "Guided setup, from the first tone to the last gain; every recording is checked "
                  "before the next step");
  command.footer =
      "Examples:\n"
      "  railtap walk job.json\n"
      "  railtap system van.toml\n"
      "  railtap walk job.json --system van.toml\n"
      "  railtap walk --rig\n"
      "At every question: b goes back, s skips the step and asks why, r begins it again,\n"
      "? helps, q stops. The same command goes on at the question where it was.\n"
      "Exit status: 0 when the job is complete, 1 when it was stopped before, or a step was "
      "skipped.";
  command.text("RECORD", options->record,
               "The job's record (JSON); made if missing; of a rehearsal rehearsal.json");
  command
      .text("--system", options->system, "The described system (TOML): what it says is not asked")
      .called("FILE");
  command
      .flag("--rig", options->rig,
            "Rehearse on a virtual car with faults to be found, without hardware")
      .excludes("--system")
      .excludes("--device");
  command.text("--description", options->description, "Another virtual car (TOML, see docs/rig.md)")
      .called("FILE")
      .needs("--rig");
  command
      .number("--seed", options->seed,
              "Seed of its faults; else drawn, and shown. 0: only the faults in the description")
      .needs("--rig");
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
