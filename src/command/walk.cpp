// SPDX-License-Identifier: MIT
// `railtap walk`: from the first tone to the set gains, each recording checked before the next
// step.
#include <charconv>
#include <functional>
#include <iostream>
#include <memory>
#include <sstream>

#include "command/command.hpp"
#include "command/dialog.hpp"
#include "command/live_recording.hpp"
#include "command/walk_checks.hpp"
#include "command/walk_described.hpp"
#include "command/walk_state.hpp"
#include "units/error.hpp"
#include "units/parse.hpp"
#include "units/print.hpp"

namespace railtap::command {
namespace {

using system::Json;

struct WalkOptions {
  std::string record, system;
  LiveOptions live;
  Seconds length{5.0};  // of what is recorded live; a turn of the volume takes longer
};

int whole_number(const std::string& text, const char* what) {
  int value = 0;
  const auto* const end = text.data() + text.size();
  const auto result = std::from_chars(text.data(), end, value);
  if (result.ec == std::errc() && result.ptr == end && value >= 0) return value;
  throw Error("'" + text + "' is not a whole number", what, "for example 24");
}

std::vector<std::string> parts_of(const std::string& line) {
  std::vector<std::string> parts;
  std::istringstream in(line);
  for (std::string part; std::getline(in, part, ',');) {
    const auto first = part.find_first_not_of(' ');
    parts.push_back(first == std::string::npos
                        ? ""
                        : part.substr(first, part.find_last_not_of(' ') - first + 1));
  }
  return parts;
}

// "front, 55W, 4ohm, 60W" or "bass, 280W, 2ohm, 300W, bass".
WalkChannel channel_from(const std::string& line) {
  const auto parts = parts_of(line);
  const bool bass = parts.size() == 5 && parts[4] == "bass";
  if (parts.size() != 4 && !bass) {
    throw Error("'" + line + "' is not a channel", "channels",
                "write name, power, load, speaker power: front, 55W, 4ohm, 60W");
  }
  WalkChannel channel;
  channel.plate.name = parts[0];
  channel.plate.amplifier_power = parse_quantity<Watts>(parts[1], "power");
  channel.plate.load = parse_quantity<Ohms>(parts[2], "load");
  channel.plate.speaker_power = parse_quantity<Watts>(parts[3], "speaker power");
  channel.bass = bass;
  channel.tone = bass ? bass_tone : usual_tone;
  (void)electric::target_for(channel.plate);
  return channel;
}

// A step goes by its channel's name, so a second one of the same name would count as done.
void require_new_name(const std::vector<WalkChannel>& channels, const std::string& name) {
  for (const WalkChannel& other : channels) {
    if (other.plate.name == name)
      throw Error("there is a channel '" + name + "' already", "channels", "give it another name");
  }
}

std::optional<Described> described_in(const WalkOptions& options) {
  if (options.system.empty()) return std::nullopt;
  return described(system::read_system(options.system));
}

// What was taken from a description is in the record; a file that has changed since is not looked
// at by halves.
void require_same_system(const WalkOptions& options, const WalkState& state,
                         const std::optional<Described>& told) {
  if (!told || !state.done.contains("facts")) return;
  if (system::read_job_record(options.record).system.line() == told->document.line()) return;
  throw Error("the record was begun without this description, or the file has changed since",
              options.system, "go on without --system, or begin a new record");
}

class Walk {
 public:
  Walk(const WalkOptions& options, Dialog& dialog)
      : options_(options),
        dialog_(dialog),
        described_(described_in(options)),
        state_(read_walk_state(options.record)) {
    require_same_system(options, state_, described_);
  }

  /// \throws Stopped, Interrupted
  void run() {
    greet();
    step("safety", [this] { safety(); });
    step("facts", [this] { facts(); });
    step("calibration", [this] { calibration(); });
    step("source", [this] { source(); });
    const auto channels = state_.facts.channels;  // a mark reads the state anew
    for (const WalkChannel& channel : channels) {
      step("gain " + channel.plate.name, [&] { gain(channel); });
      step("silence " + channel.plate.name, [&] { silence(channel); });
    }
    finish();
  }

 private:
  void step(const std::string& name, const std::function<void()>& take) {
    if (!state_.done.contains(name)) take();
  }

  void mark(const std::string& name, Json details,
            const std::optional<Json>& system = std::nullopt) {
    mark_step(options_.record, name, std::move(details), system);
    state_ = read_walk_state(options_.record);
  }

  void greet() {
    dialog_.say("Answer in a line; q stops, and the same command goes on from there later.");
    if (!state_.done.empty()) {
      dialog_.say("Going on with " + options_.record + ": " + std::to_string(state_.done.size()) +
                  " steps are done.");
    }
    if (described_ && !state_.done.contains("facts")) tell_described();
  }

  void tell_described() {
    dialog_.say("From " + options_.system + ":");
    for (const WalkChannel& channel : described_->facts.channels) {
      dialog_.say("- " + channel.plate.name + " (" + channel.outputs +
                  "): " + format_quantity(target_of(channel).volts, 4, Zeros::keep) +
                  ", set with " + format_quantity(channel.tone, 3));
    }
    if (described_->facts.meter) dialog_.say("- meter: " + *described_->facts.meter);
    if (!described_->tap.empty()) dialog_.say("- tap: " + described_->tap);
    for (const std::string& warning : described_->warnings) dialog_.say("Mind: " + warning + ".");
  }

  // Asks until the answer is one.
  template <class Parse>
  auto asked(const std::string& question, const Parse& parse) {
    while (true) {
      const std::string answer = dialog_.ask(question);
      try {
        return parse(answer);
      } catch (const Error& error) {
        dialog_.say(std::string("That will not do: ") + error.what());
      }
    }
  }

  void safety() {
    dialog_.say(
        "Safety. Disconnect the battery's negative terminal before any wiring. There must be a "
        "fuse close to the battery. Plugs under seats may belong to airbags and belt tensioners: "
        "touch them only with the battery disconnected, and as the vehicle's maker says. Local "
        "codes and licensed practice come first.");
    dialog_.say(
        "Bridged and bridge-tied outputs: neither terminal is ground. Never connect one to the "
        "chassis or to a sound interface's sleeve; use the tap of `railtap attenuator "
        "--bridge-tied`, "
        "the laptop on its own battery with nothing else plugged in.");
    dialog_.say(
        "Disconnect the speakers, or use a dummy load that takes the power and gets hot: "
        "full-level tones burn voice coils and hurt ears.");
    dialog_.wait("Do so, connect the tap, and connect the battery again.");
    mark("safety", Json::object());
  }

  void facts() {
    WalkFacts facts = described_ ? described_->facts : WalkFacts{};
    if (!facts.meter) facts.meter = ask_meter();
    if (facts.channels.empty()) facts.channels = ask_channels();
    for (WalkChannel& channel : facts.channels) {
      if (!channel.plate.speaker_power) ask_speaker_power(channel);
    }
    if (!facts.tap_full_scale) facts.tap_full_scale = ask_tap();
    mark("facts", json_of(facts), described_ ? std::optional(described_->document) : std::nullopt);
  }

  std::string ask_meter() {
    return asked("Your meter, for example 1.2%+5, average, 400Hz; Enter if it is not known.",
                 [](const std::string& text) {
                   if (!text.empty()) (void)electric::parse_meter(text, "the meter");
                   return text;
                 });
  }

  std::vector<WalkChannel> ask_channels() {
    const std::string question =
        "Amplifier channels behind one gain control: name, power, load, speaker power; add "
        "', bass' for 50 Hz.\nFor example front, 55W, 4ohm, 60W. Enter when all are told.";
    std::vector<WalkChannel> channels;
    while (true) {
      const auto channel =
          asked(question, [&](const std::string& text) -> std::optional<WalkChannel> {
            if (text.empty() && !channels.empty()) return std::nullopt;
            if (text.empty())
              throw Error("there is no channel yet", "channels", "name at least one");
            WalkChannel told = channel_from(text);
            require_new_name(channels, told.plate.name);
            return told;
          });
      if (!channel) return channels;
      channels.push_back(*channel);
    }
  }

  void ask_speaker_power(WalkChannel& channel) {
    channel.plate.speaker_power =
        asked("Continuous rating of the speakers on one output of " + channel.plate.name +
                  " together, the weakest output's, for example 60W; Enter if it is not known.",
              [&channel](const std::string& text) -> std::optional<Watts> {
                if (text.empty()) return std::nullopt;
                electric::Channel plate = channel.plate;
                plate.speaker_power = parse_quantity<Watts>(text, "speaker power");
                (void)electric::target_for(plate);
                return plate.speaker_power;
              });
  }

  std::optional<Volts> ask_tap() {
    return asked(
        "Volts RMS that fill the recording input through your tap, as railtap attenuator prints "
        "them, for example 21V; Enter if they are not known.",
        [](const std::string& text) -> std::optional<Volts> {
          if (text.empty()) return std::nullopt;
          return require_positive(parse_quantity<Volts>(text, "the tap"), "the tap");
        });
  }

  void calibration() {
    dialog_.say(
        "Calibration. Connect the tap to the head unit's output. Play the kit's 1 kHz calibration "
        "tone (100 Hz for a meter that is good to 400 Hz only), volume low to middle, and read AC "
        "volts between the two terminals, never to the chassis.");
    accept("calibration", options_.length,
           [this](const auto& file, const auto& answer) {
             return check_calibration(file, answer.front(), state_.facts);
           },
           {"The meter's reading, for example 3.52V:"});
  }

  void source() {
    dialog_.say(
        "The head unit's limit. Tone controls, loudness and equaliser off. Play the kit's 1 kHz "
        "tone at 0 dBFS; speakers stay disconnected. Begin at about half of the volume, "
        "record, and turn up step by step to the end, a second on every step. The tone is loud: "
        "mind your ears where anything is connected.");
    constexpr Seconds longest_turn{60.0};
    const auto& highest = state_.facts.volume_steps;
    accept(
        "source", longest_turn,
        [this](const auto& file, const auto& answer) {
          return check_source(file, volumes(answer), *state_.volts_per_full_scale);
        },
        {"At which volume does the recording begin?",
         highest ? "At which does it end? Enter for " + std::to_string(*highest) + ", the highest."
                 : "At which does it end?"});
  }

  [[nodiscard]] VolumeRun volumes(const std::vector<std::string>& answer) const {
    const auto& highest = state_.facts.volume_steps;
    VolumeRun run;
    run.first = whole_number(answer[0], "the first volume");
    run.last = highest && answer[1].empty() ? *highest : whole_number(answer[1], "the last volume");
    if (!highest || run.last <= *highest) return run;
    throw Error("the head unit is described with " + std::to_string(*highest) +
                    " steps, so it cannot end at " + std::to_string(run.last),
                "the last volume", "give the numbers that the head unit shows");
  }

  void gain(const WalkChannel& channel) {
    const std::string volts = format_quantity(target_of(channel).volts, 4, Zeros::keep);
    const std::string switches = channel.switches.empty() ? "" : " (" + channel.switches + ")";
    dialog_.say("Gain of " + channel.plate.name +
                (channel.outputs.empty() ? "" : " (" + channel.outputs + ")") +
                ". Connect the tap to its output, gain at "
                "minimum, high-pass and boosts off" +
                switches + ", head unit at volume " + std::to_string(*state_.volume) +
                ", engine running outdoors or a charger on. Play "
                "the " +
                format_quantity(channel.tone, 3) + " tone at " +
                format_quantity(state_.facts.tone_level, 3) +
                " for seconds, not "
                "minutes, and turn the gain up to " +
                volts +
                ". Helpful meanwhile: railtap watch "
                "--volts-full-scale " +
                format_quantity(*state_.volts_per_full_scale, 5) + " --target " + volts +
                ". Bridged outputs: neither terminal to ground.");
    accept("gain " + channel.plate.name, options_.length,
           [&](const auto& file, const auto& /*answer*/) {
             return check_gain(file, channel, state_.facts.tolerance, *state_.volts_per_full_scale);
           });
  }

  void silence(const WalkChannel& channel) {
    dialog_.say("Hiss of " + channel.plate.name +
                ". Leave everything as it is and play the kit's "
                "silence.");
    accept("silence " + channel.plate.name, options_.length,
           [&](const auto& file, const auto& /*answer*/) {
             return check_silence(file, channel, *state_.volts_per_full_scale);
           });
  }

  using Answers = std::vector<std::string>;
  using Check = std::function<Accepted(const std::filesystem::path&, const Answers&)>;

  // Asks and records until the recording is right, then writes down what it says.
  void accept(const std::string& name, Seconds length, const Check& check,
              const std::vector<std::string>& questions = {}) {
    while (true) {
      Answers answers;
      for (const auto& question : questions) answers.push_back(dialog_.ask(question));
      std::optional<Accepted> accepted;
      try {
        accepted = check(recording(name, length), answers);
      } catch (const Error& error) {
        dialog_.say(std::string("Not yet: ") + error.what() + ".");
        continue;
      }
      if (!accepted->doubt.empty() && !taken_all_the_same(accepted->doubt)) continue;
      for (auto& entry : accepted->entries)
        system::append_to_job_record(options_.record, std::move(entry));
      mark(name, accepted->details);
      dialog_.say("Right. " + accepted->words);
      return;
    }
  }

  bool taken_all_the_same(const std::string& doubt) {
    dialog_.say("Doubtful: " + doubt);
    return dialog_.ask("yes takes it all the same; Enter does it again.") == "yes";
  }

  std::filesystem::path recording(const std::string& name, Seconds length) {
    const std::string answer = dialog_.ask("A recording's file name; or Enter to record " +
                                           format_quantity(length, 3) + " now.");
    if (!answer.empty()) return answer;
    LiveOptions live = options_.live;
    live.keep = free_name(name).string();
    audio::InputStream input(live.input);
    LiveRecording taken(live, files::Overwrite::refuse);
    taken.record(input, length);
    return taken.path();
  }

  // "job-gain-front-2.wav" beside the record, the first number that is not taken.
  [[nodiscard]] std::filesystem::path free_name(std::string name) const {
    for (char& c : name) {
      const bool plain = std::isalnum(static_cast<unsigned char>(c)) != 0;
      if (!plain) c = '-';
    }
    const std::filesystem::path record = options_.record;
    for (int n = 1;; ++n) {
      auto path = record.parent_path() /
                  (record.stem().string() + "-" + name + "-" + std::to_string(n) + ".wav");
      if (!std::filesystem::exists(path)) return path;
    }
  }

  void finish() {
    if (!state_.done.contains("end")) mark("end", Json::object());
    dialog_.say("Done: head unit at volume " + std::to_string(*state_.volume) +
                " at most, every gain set, all of it in " + options_.record + ".");
    dialog_.say(
        "Before the speakers go back on: head unit off, battery off where wiring is touched, "
        "volume down. Then listen at low volume first.");
  }

  const WalkOptions& options_;
  Dialog& dialog_;
  std::optional<Described> described_;
  WalkState state_;
};

ExitStatus run(const WalkOptions& options) {
  Dialog dialog(std::cout);
  try {
    Walk(options, dialog).run();
    return ExitStatus::within_limits;
  } catch (const Stopped&) {
    std::cout << "\nStopped. Go on with: railtap walk " << options.record
              << (options.system.empty() ? "" : " --system " + options.system) << '\n';
    return ExitStatus::outside_limits;
  }
}

}  // namespace

Command walk_command() {
  auto options = std::make_shared<WalkOptions>();
  Command command(
      "walk",
      "Be led from the first tone to the set gains, each recording checked before the next step");
  command.footer =
      "Examples:\n"
      "  railtap walk job.json\n"
      "  railtap system van.toml\n"
      "  railtap walk job.json --system van.toml\n"
      "What is done is in the record at once; the same command goes on from there.\n"
      "Exit status: 0 when the job is complete, 1 when it was stopped before.";
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
  command.run = [options] { return run(*options); };
  return command;
}

}  // namespace railtap::command
