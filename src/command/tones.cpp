// SPDX-License-Identifier: MIT
// `railtap tones`: writes the test tones, with a card.
#include <algorithm>
#include <filesystem>
#include <iostream>
#include <memory>
#include <string>
#include <vector>

#include "audio/tone_writer.hpp"
#include "command/command.hpp"
#include "files/atomic_file.hpp"
#include "report/tone_kit.hpp"
#include "signal/marker.hpp"
#include "signal/tone.hpp"
#include "system/recipe.hpp"
#include "units/error.hpp"
#include "units/parse.hpp"
#include "units/print.hpp"

namespace railtap::command {
namespace {

namespace fs = std::filesystem;

constexpr std::size_t longest_recipe_bytes = 1'000'000;

// What --sine writes where nothing else is said.
constexpr Dbfs usual_level{-20.0};
constexpr Seconds usual_length{30.0};
constexpr const char* everywhere = "both";

struct TonesOptions {
  std::string folder;
  Hertz rate{44100.0};
  std::string bits = "16", container = "wav", recipe;
  std::vector<std::string> tones;
  std::optional<Hertz> sine;
  std::optional<Dbfs> level;
  std::optional<Seconds> seconds;
  std::optional<std::string> channels;
  bool list = false, force = false, json = false;
};

void add_options(Command& command, TonesOptions& options) {
  command.text("DIR", options.folder, "Folder for the files; made if missing");
  command.quantity("--rate", options.rate, "Samples per second");
  command.text("--bits", options.bits, "16, 24, float or double")
      .defaulting_to(options.bits)
      .called("BITS");
  command.text("--container", options.container, "wav, flac, aiff or mp3")
      .defaulting_to(options.container)
      .called("KIND");
  command.list("--tone", options.tones, "Only this track of the kit, repeatable (see --list)")
      .called("NAME");
  command.text("--recipe", options.recipe, "A kit of your own (see testsignals/README.md)")
      .called("FILE");
  command.quantity("--sine", options.sine, "One tone of this frequency instead of the kit");
  command.quantity("--level", options.level, "Level of that tone")
      .defaulting_to(format_quantity(usual_level));
  command.quantity("--seconds", options.seconds, "Length of that tone")
      .defaulting_to(format_quantity(usual_length));
  command.text("--channels", options.channels, "Where it plays: both, left or right")
      .defaulting_to(everywhere)
      .called("SIDE");
  command.flag("--list", options.list, "Only list the tracks");
  command.flag("--force", options.force, "Replace files that are there");
  command.flag("--json", options.json, "Print one JSON document (railtap.tones/1)");
}

std::size_t choice(const std::string& word, const std::vector<std::string>& words,
                   const char* option) {
  const auto found = std::find(words.begin(), words.end(), word);
  if (found != words.end()) return static_cast<std::size_t>(found - words.begin());
  throw Error("'" + word + "' is unknown", option, "give one of: " + listed(words));
}

audio::SoundFileSpec spec_of(const TonesOptions& options) {
  constexpr Hertz slowest{32000.0}, fastest{192000.0};
  audio::SoundFileSpec spec;
  spec.rate = require_within(options.rate, slowest, fastest, "--rate");
  spec.container = static_cast<audio::Container>(
      choice(options.container, {"wav", "flac", "aiff", "mp3"}, "--container"));
  spec.samples = static_cast<audio::SampleType>(
      choice(options.bits, {"16", "24", "float", "double"}, "--bits"));
  if (audio::can_write(spec)) return spec;
  const bool lossy = spec.container == audio::Container::mp3;
  throw Error(options.container + " cannot hold " +
                  (lossy ? format_quantity(spec.rate, 4) : options.bits + " samples"),
              lossy ? "--rate" : "--bits",
              lossy ? "give 32kHz, 44.1kHz or 48kHz" : "give 16 or 24, or --container wav");
}

signal::Track single_tone(const TonesOptions& options) {
  const std::string where = options.channels.value_or(everywhere);
  const auto side =
      static_cast<signal::Channels>(choice(where, {everywhere, "left", "right"}, "--channels"));
  const signal::Sine sine{*options.sine, options.level.value_or(usual_level),
                          options.seconds.value_or(usual_length)};
  signal::require_renderable(sine, options.rate, "--sine");
  signal::Track track;
  track.name = "sine-" + format_quantity(sine.frequency, 6) + format_quantity(sine.level);
  if (side != signal::Channels::both) track.name += "-" + where;
  std::erase(track.name, ' ');
  track.title = "Sine, " + signal::describe(sine);
  track.parts = {{sine, side, signal::MarkerBand::none}};
  return track;
}

signal::Kit recipe_of(const TonesOptions& options) {
  if (options.recipe.empty()) {
    return system::parse_recipe(signal::default_recipe_text(), "testsignals/kit.toml");
  }
  return system::parse_recipe(files::read_file(options.recipe, longest_recipe_bytes),
                              options.recipe);
}

// Numbers of the tracks that were asked for, in the kit's order.
std::vector<std::size_t> chosen(const signal::Kit& kit, const std::vector<std::string>& names) {
  std::vector<std::string> known;
  for (const signal::Track& track : kit.tracks) known.push_back(track.name);
  std::vector<std::size_t> places;
  places.reserve(names.size());
  for (const std::string& name : names) places.push_back(choice(name, known, "--tone"));
  for (std::size_t i = 0; names.empty() && i < known.size(); ++i) places.push_back(i);
  std::sort(places.begin(), places.end());
  places.erase(std::unique(places.begin(), places.end()), places.end());
  return places;
}

std::string signal_text(const signal::Track& track) {
  std::string text;
  for (const signal::Part& part : track.parts) {
    std::string words = signal::describe(part.signal);
    if (part.channels == signal::Channels::left) words += ", left only";
    if (part.channels == signal::Channels::right) words += ", right only";
    if (!text.ends_with(words)) text += (text.empty() ? "" : "; ") + words;
  }
  return text;
}

report::ToneFile described(const signal::Track& track, const std::string& file, Hertz rate) {
  report::ToneFile entry;
  entry.file = file;
  entry.name = track.name;
  entry.title = track.title;
  entry.signal = signal_text(track);
  entry.purpose = track.purpose;
  entry.reading = track.reading;
  entry.caution = track.caution;
  entry.level = signal::highest_level(signal::Silence{});
  for (const signal::Part& part : track.parts) {
    signal::require_renderable(part.signal, rate, "track '" + track.name + "'");
    entry.level = std::max(entry.level, signal::highest_level(part.signal));
    entry.length += signal::length_of(part.signal) + signal::marker_length(part.marker);
  }
  return entry;
}

std::vector<std::string> notes_on(const audio::SoundFileSpec& spec) {
  if (spec.container == audio::Container::mp3) {
    return {
        "MP3 at 320 kbit/s: a decoded tone has a THD+N of -81 to -85 dB (below 0.01 %) of its own, "
        "and a full-scale tone passes full scale by up to 0.002 dB, which a player may clip. "
        "Limits "
        "below 0.1 % cannot be judged with it; use WAV or FLAC where the player reads them."};
  }
  if (!audio::is_dithered(spec)) return {};
  if (spec.samples == audio::SampleType::pcm24) return {};
  return {"Triangular dither: noise at -93.3 dBFS up to half the rate, whatever the tone."};
}

// A folder that was made for the files goes again when they do not get into it.
class MadeFolder {
 public:
  explicit MadeFolder(fs::path path) : path_(std::move(path)) {
    std::error_code failure;
    if (fs::is_directory(path_, failure)) return;
    made_ = fs::create_directories(path_, failure);
    if (failure || !fs::is_directory(path_)) {
      throw Error("the folder cannot be made (" + failure.message() + ")", path_.string(),
                  "choose a folder that you may write to");
    }
  }
  MadeFolder(const MadeFolder&) = delete;
  MadeFolder& operator=(const MadeFolder&) = delete;
  ~MadeFolder() {
    std::error_code ignored;
    if (made_ && fs::is_empty(path_, ignored)) fs::remove(path_, ignored);
  }

 private:
  fs::path path_;
  bool made_ = false;
};

void write(report::ToneKit& kit, const std::vector<audio::ToneJob>& jobs,
           const TonesOptions& options, const audio::SoundFileSpec& spec, bool with_card) {
  const auto overwrite = options.force ? files::Overwrite::allow : files::Overwrite::refuse;
  const fs::path folder = options.folder;
  const MadeFolder made(folder);
  if (with_card) kit.cards = {"card.txt", "card.html"};
  kit.folder = options.folder;
  std::vector<files::AtomicFile> cards;  // first, so that a name that is taken is found at once
  for (const std::string& card : kit.cards) cards.emplace_back(folder / card, overwrite);
  const std::vector<double> peaks = audio::write_tones(jobs, spec, overwrite);
  for (std::size_t i = 0; i < peaks.size(); ++i) kit.files[i].peak_fs = peaks[i];
  if (!with_card) return;
  cards[0].write(report::tone_card_text(kit));
  cards[1].write(report::tone_card_html(kit));
  for (files::AtomicFile& card : cards) card.commit();
}

void require_sense(const TonesOptions& options) {
  if (options.folder.empty() && !options.list) {
    throw Error("no folder was given", "", "for example: railtap tones stick");
  }
  if (options.sine && (!options.recipe.empty() || !options.tones.empty())) {
    throw Error("is one tone, so it cannot be mixed with --recipe or --tone", "--sine",
                "give one or the other");
  }
  if (options.sine || !(options.level || options.seconds || options.channels)) return;
  throw Error("belongs to --sine",
              options.level ? "--level" : (options.seconds ? "--seconds" : "--channels"),
              "add for example --sine 1kHz, or write a recipe (testsignals/README.md)");
}

ExitStatus run(const TonesOptions& options) {
  require_sense(options);
  const audio::SoundFileSpec spec = spec_of(options);
  signal::Kit kit;
  if (options.sine) {
    kit = {"Test tone", {single_tone(options)}};
  } else {
    kit = recipe_of(options);
  }
  report::ToneKit report;
  report.title = kit.title;
  report.rate = spec.rate;
  report.encoding = audio::encoding_name(spec);
  report.notes = notes_on(spec);
  std::vector<audio::ToneJob> jobs;
  for (const std::size_t place : chosen(kit, options.tones)) {
    const signal::Track& track = kit.tracks[place];
    const std::string stem = options.sine ? track.name : signal::file_stem(kit, place);
    report.files.push_back(described(track, stem + audio::extension(spec.container), spec.rate));
    jobs.push_back({track, fs::path(options.folder) / report.files.back().file});
  }
  if (!options.list) write(report, jobs, options, spec, !options.sine);
  std::cout << (options.json ? report::tone_kit_json(report).page()
                             : report::tone_kit_text(report));
  return ExitStatus::within_limits;
}

}  // namespace

Command tones_command() {
  Command command("tones", "Write the test tones, with a card");
  auto options = std::make_shared<TonesOptions>();
  add_options(command, *options);
  command.footer =
      "Examples:\n"
      "  railtap tones stick\n"
      "  railtap tones ladders --container flac --tone ladder-1khz --tone ladder-50hz\n"
      "  railtap tones stick --sine 1kHz --level -10dBFS --seconds 30s --channels left\n"
      "Speakers off before tones at full level are played; the card says more.";
  command.run = [options] { return run(*options); };
  return command;
}

}  // namespace railtap::command
