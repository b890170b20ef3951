// SPDX-License-Identifier: MIT
// The steps of the guided walk, from safety to the last gain.
#include "command/walk.hpp"

#include <charconv>
#include <memory>

#include "command/demo_findings.hpp"
#include "command/dialog.hpp"
#include "command/walk_checks.hpp"
#include "units/error.hpp"
#include "units/parse.hpp"
#include "units/print.hpp"

namespace railtap::command {
namespace {

namespace fs = std::filesystem;

constexpr Seconds longest_turn{60.0};  // of the volume, a second on every step
// The kit's tracks for it take 49 s and 62 s.
constexpr Seconds verify_length{60.0}, verify_bass_length{75.0};
// Of what is played in a rehearsal, where nobody waits for a steady tone.
constexpr Seconds rehearsed_length{2.0};

// --- Prompts that several steps have -------------------------------------------------------------

int whole_number(const std::string& text, const char* what) {
  int value = 0;
  const auto* const end = text.data() + text.size();
  const auto result = std::from_chars(text.data(), end, value);
  if (result.ec == std::errc() && result.ptr == end && value >= 0) return value;
  throw Error("'" + short_name(text) + "' is not a whole number", what, "for example 24");
}

using Check = std::function<Accepted(const fs::path& file, const Answers& before)>;

// A step that ends with a recording: what it accepted last, so that it is not measured twice.
struct LastCheck {
  fs::path file;
  Answers before;
  std::optional<Accepted> accepted;
};

struct RecordingStep {
  const WalkTools& tools;
  std::string name;
  Seconds length;
  Playing playing;
  Check check;
  std::shared_ptr<LastCheck> last = std::make_shared<LastCheck>();

  [[nodiscard]] const Accepted& accepted(const fs::path& file, const Answers& before) const {
    if (!last->accepted || last->file != file || last->before != before) {
      last->accepted.reset();
      last->accepted = check(file, before);
      last->file = file;
      last->before = before;
    }
    return *last->accepted;
  }
};

constexpr const char* recording_id = "recording";
constexpr const char* doubt_id = "doubt";

// The answers in front of the recording.
Answers before_recording(const Answers& answers) {
  Answers before;
  for (const Answer& answer : answers.given) {
    if (answer.prompt == recording_id) break;
    before.given.push_back(answer);
  }
  return before;
}

// A meter's reading where a recording is asked for.
void refuse_reading(const std::string& typed) {
  constexpr const char* digits = "0123456789";
  if (typed.find_first_of(digits) != 0) return;
  try {
    (void)parse_quantity<Volts>(typed, "");
  } catch (const Error&) {
    return;
  }
  throw Error("'" + short_name(typed) + "' is a reading, and a recording is asked for here", "",
              "b goes back to the question before");
}

Prompt recording_prompt(const RecordingStep& step, const Answers& answers,
                        std::vector<std::string> lines) {
  Prompt prompt;
  prompt.id = recording_id;
  prompt.records = true;
  prompt.lines = std::move(lines);
  prompt.question =
      "Enter records " + format_quantity(step.length, 3) + " now; or give a recording's file name.";
  prompt.take = [step, answers](const std::string& typed) {
    if (!fs::exists(typed)) refuse_reading(typed);
    const fs::path file =
        typed.empty() ? step.tools.record({step.name, step.length, step.playing}) : fs::path(typed);
    (void)step.accepted(file, answers);
    return fs::absolute(file).string();
  };
  return prompt;
}

Prompt doubt_prompt(const std::string& doubt) {
  Prompt prompt;
  prompt.id = doubt_id;
  prompt.lines = {"Doubtful: " + doubt};
  prompt.question = "yes accepts it anyway; Enter does it again.";
  prompt.buttons = {{"yes", "take it"}};
  prompt.take = [](const std::string& typed) {
    if (typed.empty()) throw BeginAgain{"Once more."};
    if (typed == "yes") return typed;
    throw Error("'" + short_name(typed) + "' is neither", "", "yes, or Enter");
  };
  return prompt;
}

// The recording, once the questions in front of it are answered, and a doubt about it.
std::optional<Prompt> recording_prompts(const RecordingStep& step, const Answers& answers,
                                        std::vector<std::string> lines) {
  const auto file = answers.find(recording_id);
  if (!file) return recording_prompt(step, answers, std::move(lines));
  const Accepted& accepted = step.accepted(*file, before_recording(answers));
  if (!accepted.doubt.empty() && !answers.find(doubt_id)) return doubt_prompt(accepted.doubt);
  return std::nullopt;
}

Outcome outcome_of(const RecordingStep& step, const Answers& answers) {
  const Accepted& accepted =
      step.accepted(answers.find(recording_id).value_or(""), before_recording(answers));
  return {accepted.entries, accepted.words, accepted.details, {}};
}

// A tone into both channels, at a gain control or at the head unit.
Playing playing_tone(const std::string& control, const signal::Sine& tone) {
  Playing playing;
  playing.control = control;
  playing.track.parts = {{tone, signal::Channels::both, signal::MarkerBand::none}};
  playing.tone = tone;
  return playing;
}

Step step_with_recording(const RecordingStep& recording, std::vector<std::string> lines) {
  Step step;
  step.name = recording.name;
  step.playing = recording.playing;
  step.next = [recording, lines = std::move(lines)](const Answers& answers) {
    return recording_prompts(recording, answers, lines);
  };
  step.finish = [recording](const Answers& answers) { return outcome_of(recording, answers); };
  return step;
}

// --- Safety --------------------------------------------------------------------------------------

Step safety_step(const WalkTools& tools) {
  const Prompt prompt = done_prompt(
      "done",
      {"Disconnect the battery's negative terminal before any wiring. There must be a fuse close "
       "to the battery. Plugs under seats may belong to airbags and belt tensioners: touch them "
       "only with the battery disconnected, and as the vehicle's maker says. Local codes and "
       "licensed practice come first.",
       "Bridged and bridge-tied outputs: neither terminal is ground. Never connect one to the "
       "chassis or to a sound interface's sleeve; use the tap of `" +
           tools.program +
           " attenuator --bridge-tied`, the laptop on its own battery with nothing else plugged "
           "in.",
       "Disconnect the speakers, or use a dummy load that takes the power and gets hot: full-level "
       "tones burn voice coils and hurt ears."},
      "Do so, connect the tap, and connect the battery again. Then press Enter.");
  Step step;
  step.name = "safety";
  step.title = "Safety";
  step.optional = false;
  step.next = [prompt](const Answers& answers) -> std::optional<Prompt> {
    if (answers.find(prompt.id)) return std::nullopt;
    return prompt;
  };
  step.finish = [](const Answers&) { return Outcome{{}, "", system::Json::object(), {}}; };
  return step;
}

// --- Calibration ---------------------------------------------------------------------------------

constexpr Dbfs calibration_level{-20.0};  // of the kit's tracks

bool knows_meter(const WalkFacts& facts) {
  return facts.meter && !facts.meter->empty();
}

// The kit has it at 1 kHz, and at 100 Hz for meters that end below.
Hertz calibration_tone(const WalkFacts& facts) {
  constexpr Hertz usual{1000.0}, lower{100.0};
  if (!knows_meter(facts)) return usual;
  const electric::Meter meter = electric::parse_meter(*facts.meter, "the meter");
  const bool ends_below = meter.highest_frequency && *meter.highest_frequency < usual;
  return ends_below ? lower : usual;
}

std::string calibration_words(const WalkFacts& facts) {
  return format_quantity(calibration_tone(facts), 3) + " calibration tone" +
         (knows_meter(facts) ? "" : " (100 Hz for a meter that is good to 400 Hz only)");
}

Prompt reading_prompt(const std::vector<std::string>& lines) {
  Prompt prompt;
  prompt.id = "reading";
  prompt.lines = lines;
  prompt.question = "The meter's reading, for example 3.52V:";
  prompt.take = [](const std::string& typed) {
    (void)require_positive(parse_quantity<Volts>(typed, "the reading"), "the reading");
    return typed;
  };
  return prompt;
}

Step calibration_step(const WalkTools& tools, const WalkState& state) {
  const WalkFacts facts = state.facts;
  const Playing playing =
      playing_tone("", {calibration_tone(facts), calibration_level, rehearsed_length});
  const RecordingStep recording{tools, "calibration", tools.length, playing,
                                [facts](const fs::path& file, const Answers& before) {
                                  return check_calibration(file, *before.find("reading"), facts);
                                }};
  const std::vector<std::string> lines = {
      "Connect the tap to the head unit's output" + source_names(facts) + ". Play the kit's " +
      calibration_words(facts) +
      " at -20 dBFS, volume well up: so low a level does not clip, and the meter is more accurate "
      "at a higher reading. "
      "Read AC volts between the two terminals, never to the chassis."};
  Step step = step_with_recording(recording, {"Leave the tone and the volume as they are."});
  step.title = "Calibration";
  step.help = "One reading of the meter turns the recording's levels into volts.";
  step.next = [recording, lines, after = step.next](const Answers& answers) {
    return answers.find("reading") ? after(answers) : std::optional(reading_prompt(lines));
  };
  return step;
}

// --- The source ----------------------------------------------------------------------------------

Prompt first_volume_prompt(const std::optional<int>& highest, std::vector<std::string> lines) {
  Prompt prompt;
  prompt.id = "first volume";
  prompt.lines = std::move(lines);
  prompt.question = "At which volume will the recording begin?";
  prompt.take = [highest](const std::string& typed) {
    const int first = whole_number(typed, "the first volume");
    if (highest && first >= *highest) {
      throw Error("the head unit's highest volume is " + std::to_string(*highest),
                  "the first volume", "begin at about half of it");
    }
    return typed;
  };
  return prompt;
}

Prompt last_volume_prompt(const std::optional<int>& highest, int first) {
  Prompt prompt;
  prompt.id = "last volume";
  prompt.question =
      highest ? "At which will it end? Enter for " + std::to_string(*highest) + ", the highest."
              : "At which will it end?";
  prompt.take = [highest, first](const std::string& typed) {
    if (highest && typed.empty()) return std::to_string(*highest);
    const int last = whole_number(typed, "the last volume");
    if (highest && last > *highest) {
      throw Error("the head unit is described with " + std::to_string(*highest) +
                      " steps, so it cannot end at " + std::to_string(last),
                  "the last volume", "give the numbers that the head unit shows");
    }
    if (last <= first)
      throw Error(
          "it begins at " + std::to_string(first) + ", so it cannot end at " + std::to_string(last),
          "the last volume", "give a higher one");
    return typed;
  };
  return prompt;
}

VolumeRun run_of(const Answers& answers) {
  return {whole_number(answers.find("first volume").value_or(""), "the first volume"),
          whole_number(answers.find("last volume").value_or(""), "the last volume")};
}

Step source_step(const WalkTools& tools, const WalkState& state) {
  const WalkFacts facts = state.facts;
  const auto volts = state.volts_per_full_scale;
  Playing playing = playing_tone("", {usual_tone, Dbfs(0.0), rehearsed_length});
  playing.volume_turns = true;
  const RecordingStep recording{tools, "source", longest_turn, playing,
                                [facts, volts](const fs::path& file, const Answers& before) {
                                  return check_source(file, run_of(before), facts, volts);
                                }};
  const std::vector<std::string> lines = {
      "Tone controls, loudness and equaliser off. The kit's 1 kHz tone at 0 dBFS is to play; "
      "speakers stay disconnected. Begin at about half of the volume, record, and turn up step by "
      "step to the end, a second on every step. The tone is loud: protect your ears if a speaker "
      "is connected."};
  Step step = step_with_recording(recording, {});
  step.title = "The head unit's limit";
  step.listening.volts_per_full_scale = volts;
  step.help = "The highest volume at which the head unit is clean: mark it there.";
  step.next = [highest = facts.volume_steps, lines,
               recording](const Answers& answers) -> std::optional<Prompt> {
    const auto first = answers.find("first volume");
    if (!first) return first_volume_prompt(highest, lines);
    const auto last = answers.find("last volume");
    if (!last) return last_volume_prompt(highest, whole_number(*first, "the first volume"));
    return recording_prompts(recording, answers,
                             {"Set the volume to " + *first +
                              ", play the tone, begin to record, and turn up a step every second, "
                              "to " +
                              *last + "."});
  };
  return step;
}

std::string volume_words(const WalkState& state) {
  return state.volume ? "head unit at volume " + std::to_string(*state.volume)
                      : "head unit at the highest volume that you know to be clean";
}

// --- Wiring --------------------------------------------------------------------------------------

Step wiring_step(const WalkTools& tools, const WalkState& state, const WalkChannel& channel) {
  const auto volts = state.volts_per_full_scale;
  Playing playing;
  playing.control = channel.plate.name;
  playing.track = channel.bass ? verify_bass_track() : verify_track();
  const RecordingStep recording{tools, "wiring " + channel.plate.name,
                                channel.bass ? verify_bass_length : verify_length, playing,
                                [channel, volts](const fs::path& file, const Answers&) {
                                  return check_wiring(file, channel, volts);
                                }};
  Step step = step_with_recording(
      recording,
      {"Connect the tap to the output " + names_of(channel) + ". Gain low, filters and boosts off" +
       (channel.bass ? " (its low-pass may stay on)" : "") + ", " + volume_words(state) +
       ". Begin to record, then play the kit's " + (channel.bass ? "verify-bass" : "verify") +
       " track from its beginning. Bridged outputs: neither terminal to ground."});
  step.title = "Wiring of " + short_name(channel.plate.name);
  step.help =
      "Every output carries its own side, plus is plus, no filter or boost is on, nothing hums.";
  return step;
}

// --- Gains ---------------------------------------------------------------------------------------

std::string without_blanks(std::string text) {
  std::erase(text, ' ');
  return text;
}

std::string watch_command_line(const WalkTools& tools, const WalkChannel& channel, Volts full_scale,
                               const std::string& volts) {
  std::string names;
  for (const std::string& output : channel.outputs) names += (names.empty() ? "" : ",") + output;
  if (!names.empty()) names = " --names " + shell_word(names);
  return tools.program + " watch --volts-full-scale " +
         without_blanks(format_quantity(full_scale, 5)) + " --target " + without_blanks(volts) +
         names;
}

std::vector<std::string> gain_lines(const WalkTools& tools, const WalkState& state,
                                    const WalkChannel& channel) {
  const std::string volts = format_quantity(target_of(channel).volts, 4, Zeros::keep);
  const std::string switches = channel.switches.empty() ? "" : " (" + channel.switches + ")";
  std::vector<std::string> lines = {
      "Connect the tap to the output " + names_of(channel) +
      ", gain at minimum, high-pass and boosts off" + switches + ", " + volume_words(state) +
      ", engine running outdoors or a charger on. Play the " + format_quantity(channel.tone, 3) +
      " tone at " + format_quantity(state.facts.tone_level, 3) +
      " for seconds, not minutes, and turn the gain up to " + volts +
      ". Bridged outputs: neither terminal to ground."};
  if (state.volts_per_full_scale && !tools.rehearses) {
    lines.push_back("To see the voltage while turning: " +
                    watch_command_line(tools, channel, *state.volts_per_full_scale, volts));
  }
  return lines;
}

constexpr const char* position_id = "gain position";

// For the sheet's label.
Prompt position_prompt(const WalkChannel& channel) {
  Prompt prompt;
  prompt.id = position_id;
  prompt.lines = {"The target is reached."};
  prompt.question =
      "Where does the gain of " + short_name(channel.plate.name) +
      " stand now, for example 30 % or 10 o'clock? Enter leaves it blank on the sheet.";
  prompt.take = [](const std::string& typed) {
    if (typed.empty() || typed.find_first_of("0123456789") != std::string::npos) return typed;
    throw Error("'" + short_name(typed) + "' is no position of a control", "",
                "write it like 30 % or 10 o'clock, or press Enter");
  };
  return prompt;
}

// As a remark about the control, which the sheet shows.
Outcome with_position(Outcome outcome, const WalkChannel& channel, const std::string& position) {
  if (position.empty()) return outcome;
  system::RecordEntry entry;
  entry.kind = "note";
  entry.subject = channel.plate.name;
  entry.note = "gain at " + position;
  outcome.entries.push_back(std::move(entry));
  return outcome;
}

Step gain_step(const WalkTools& tools, const WalkState& state, const WalkChannel& channel) {
  const Decibels tolerance = state.facts.tolerance;
  const auto volts = state.volts_per_full_scale;
  const Playing playing =
      playing_tone(channel.plate.name, {channel.tone, state.facts.tone_level, rehearsed_length});
  const RecordingStep recording{tools, "gain " + channel.plate.name, tools.length, playing,
                                [channel, tolerance, volts](const fs::path& file, const Answers&) {
                                  return check_gain(file, channel, tolerance,
                                                    volts.value_or(Volts(0.0)));
                                }};
  Step step = step_with_recording(recording, gain_lines(tools, state, channel));
  step.next = [&tools, channel, recorded = step.next](const Answers& answers) {
    auto prompt = recorded(answers);
    const bool asks = !tools.gain_position && !answers.find(position_id);
    return prompt || !asks ? prompt : std::optional(position_prompt(channel));
  };
  step.finish = [&tools, channel, recorded = step.finish](const Answers& answers) {
    const std::string position = tools.gain_position ? tools.gain_position(channel.plate.name)
                                                     : answers.find(position_id).value_or("");
    return with_position(recorded(answers), channel, position);
  };
  step.title = "Gain of " + short_name(channel.plate.name);
  step.help = "The gain is right where every channel has its target volts and is clean.";
  step.listening = {volts, target_of(channel).volts, tolerance};
  step.needs = {"calibration"};
  return step;
}

Step silence_step(const WalkTools& tools, const WalkState& state, const WalkChannel& channel) {
  const auto volts = state.volts_per_full_scale;
  Playing playing;
  playing.control = channel.plate.name;
  playing.track.parts = {
      {signal::Silence{rehearsed_length}, signal::Channels::both, signal::MarkerBand::none}};
  const RecordingStep recording{tools, "silence " + channel.plate.name, tools.length, playing,
                                [channel, volts](const fs::path& file, const Answers&) {
                                  return check_silence(file, channel, volts);
                                }};
  Step step = step_with_recording(recording, {"Leave everything as it is, at " + names_of(channel) +
                                              ", and play the kit's silence."});
  step.title = "Hiss of " + short_name(channel.plate.name);
  step.help = "What is heard while nothing plays.";
  step.listening.volts_per_full_scale = volts;
  return step;
}

}  // namespace

Prompt done_prompt(const std::string& id, std::vector<std::string> lines,
                   const std::string& question) {
  Prompt prompt;
  prompt.id = id;
  prompt.lines = std::move(lines);
  prompt.question = question;
  prompt.take = [](const std::string& typed) {
    if (typed.empty() || typed == "yes" || typed == "done") return std::string();
    throw Error("'" + short_name(typed) + "' is not an answer to this", "",
                "press Enter once it is so, q to stop");
  };
  return prompt;
}

std::vector<Step> walk_steps(const WalkTools& tools, const WalkState& state) {
  std::vector<Step> steps = {safety_step(tools), facts_step(tools), calibration_step(tools, state),
                             source_step(tools, state)};
  for (const WalkChannel& channel : state.facts.channels) {
    steps.push_back(wiring_step(tools, state, channel));
    steps.push_back(gain_step(tools, state, channel));
    steps.push_back(silence_step(tools, state, channel));
  }
  return steps;
}

}  // namespace railtap::command
