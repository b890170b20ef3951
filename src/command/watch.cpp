// SPDX-License-Identifier: MIT
// `railtap watch`: live, while a control is turned.

#include <unistd.h>

#include <cstdlib>
#include <iostream>
#include <memory>

#include "audio/device.hpp"
#include "audio/sound_file.hpp"
#include "command/command.hpp"
#include "command/live_input.hpp"
#include "command/page_options.hpp"
#include "command/recorded.hpp"
#include "command/result_options.hpp"
#include "files/atomic_file.hpp"
#include "live/feed.hpp"
#include "live/watch.hpp"
#include "system/kept_files.hpp"
#include "units/error.hpp"
#include "units/parse.hpp"

namespace railtap::command {
namespace {

struct WatchOptions {
  std::string file, names;
  audio::InputRequest input;
  std::string calibration;
  std::string interface;
  std::optional<Volts> volts_per_full_scale;
  std::string target;
  std::optional<Watts> power;
  std::optional<Ohms> load;
  Decibels tolerance = electric::default_tolerance;
  Percent limit{1.0};
  std::optional<Seconds> length;
  Seconds every{0.5};
  bool use_rig = false;
  std::string rig;
  std::string point;
  std::optional<int> volume;
  bool sound = false;
  std::string sound_device;
  bool fast = false;
  bool plain = false;
  bool json = false;
  bool ascii = false;
  PageOptions page;
};

// A calibration made with another input, or at another rate, may be another's.
void warn_of_difference(const WatchOptions& options, const live::WatchJob& job) {
  if (options.calibration.empty()) return;
  std::optional<std::string> device;
  if (job.device) device = job.name;
  tell(calibration_warnings(system::read_calibration(options.calibration), options.calibration,
                            job.source.format.rate, device));
}

std::optional<Volts> volts_per_full_scale(const WatchOptions& options) {
  if (!options.calibration.empty())
    return system::read_calibration(options.calibration).volts_per_full_scale;
  if (options.volts_per_full_scale)
    require_positive(*options.volts_per_full_scale, "--volts-full-scale");
  return options.volts_per_full_scale;
}

std::optional<Volts> target_volts(const WatchOptions& options) {
  if (!options.target.empty())
    return require_positive(parse_quantity<Volts>(options.target, "--target"), "--target");
  if (!options.power || !options.load) return std::nullopt;
  electric::Channel channel;
  channel.amplifier_power = *options.power;
  channel.load = *options.load;
  return electric::target_for(channel).volts;
}

std::optional<live::WatchTarget> resolve_target(const WatchOptions& options,
                                                const std::optional<Volts>& volts) {
  require_not_negative(options.tolerance, "--tolerance");
  const bool in_dbfs = !volts && !options.target.empty();
  if (in_dbfs && options.target.find("dB") != std::string::npos) {
    return live::WatchTarget{parse_quantity<Dbfs>(options.target, "--target"), options.tolerance};
  }
  const auto wanted = target_volts(options);
  if (!wanted) return std::nullopt;
  if (!volts) {
    throw Error("a target in volts needs the voltage at full scale", "--target",
                "give --calibration FILE or --volts-full-scale, or a target in dBFS");
  }
  return live::WatchTarget{live::level_of(*wanted, *volts), options.tolerance};
}

live::Rehearsal rehearsal_of(const WatchOptions& options) {
  constexpr std::size_t longest_description = 1U << 20U;
  const bool own = !options.rig.empty();
  const std::string text = own ? files::read_file(options.rig, longest_description)
                               : std::string(rig::camper_van_text());
  return live::rehearse(rig::parse_rig(text, own ? options.rig : "camper_van.toml"),
                        {options.point, options.volume, std::nullopt});
}

// The rig brings its own volts and, unless another was given, its own target.
live::WatchJob make_rehearsal(const WatchOptions& options) {
  live::Rehearsal rehearsal = rehearsal_of(options);
  live::WatchJob job;
  auto& volts = job.limits.volts_per_full_scale;
  volts = volts_per_full_scale(options);
  if (!volts) volts = rehearsal.volts_per_full_scale;
  job.target = resolve_target(options, volts);
  if (!job.target && rehearsal.target)
    job.target = live::WatchTarget{live::level_of(*rehearsal.target, *volts), options.tolerance};
  job.source = std::move(rehearsal.source);
  job.knobs = std::move(rehearsal.knobs);
  job.name = rehearsal.name;
  job.channel_names = rehearsal.channel_names;
  job.paced = !options.fast;
  return job;
}

live::WatchJob make_recorded(const WatchOptions& options) {
  live::WatchJob job;
  const auto volts = volts_per_full_scale(options);
  const auto target = resolve_target(options, volts);
  if (options.file.empty()) {
    job = watched_input(options.input);
  } else if (options.file == "-") {
    job.source = audio::open_sound_file("/dev/stdin");
    job.name = "standard input";
  } else {
    job.source = audio::open_sound_file(options.file);
    job.name = options.file;
    job.paced = !options.fast;
  }
  job.limits.volts_per_full_scale = volts;
  job.target = target;
  return job;
}

live::WatchJob make_job(const WatchOptions& options) {
  live::WatchJob job = options.use_rig ? make_rehearsal(options) : make_recorded(options);
  job.limits.thdn = require_positive(options.limit, "--limit");
  if (!options.names.empty()) {
    const auto channels = static_cast<std::size_t>(job.source.format.channels);
    job.channel_names = names_of_channels(options.names, {}, channels);
  }
  if (options.sound) job.sound = {options.sound_device, job.device ? job.name : "", Hertz(48000.0)};
  job.tolerance = options.tolerance;
  if (!options.interface.empty()) job.interface = system::read_loopback(options.interface);
  job.length = options.length;
  job.colour = std::getenv("NO_COLOR") == nullptr;
  job.ascii = options.ascii;
  return job;
}

// Where the figures are shown besides on a page.
std::optional<live::LineKind> lines_of(const WatchOptions& options) {
  if (options.json) return live::LineKind::json;
  if (options.plain) return live::LineKind::plain;
  if (options.page.page && isatty(STDOUT_FILENO) == 0) return live::LineKind::none;
  return std::nullopt;
}

ExitStatus run(const WatchOptions& options) {
  require_positive(options.every, "--every");
  if (options.length) require_positive(*options.length, "--seconds");
  live::WatchJob job = make_job(options);
  warn_of_difference(options, job);
  job.page = open_page(options.page);
  const auto lines = lines_of(options);
  // The screen tells the address by itself.
  if (lines && job.page) tell_address(*job.page, options.ascii);
  const bool good = lines ? live::watch_in_lines(std::move(job), *lines, options.every, std::cout)
                          : live::watch_on_screen(std::move(job));
  return good ? ExitStatus::within_limits : ExitStatus::outside_limits;
}

void add_source_options(Command& command, WatchOptions& options) {
  command.text("FILE", options.file, "Recording to watch instead of an input; - is standard input");
  command
      .text("--device", options.input.device,
            "Input: its number or part of its name, see `railtap devices`")
      .excludes("FILE");
  command.quantity("--rate", options.input.rate, "Samples per second of the input");
  command.number("--channels", options.input.channels, "Channels of the input");
  command.text("--names", options.names, "What the channels are called: \"front left,front right\"")
      .called("NAME,NAME");
  command.flag("--fast", options.fast, "Read a recording as fast as possible, not in real time");
  command.quantity("--seconds", options.length, "Stop after this time");
}

void add_rig_options(Command& command, WatchOptions& options) {
  command
      .flag("--rig", options.use_rig,
            "Rehearse on the virtual rig; arrow keys turn volume and gain")
      .excludes("FILE")
      .excludes("--device");
  command.text("--description", options.rig, "Another rig's description (docs/rig.md)")
      .called("FILE")
      .needs("--rig");
  command
      .text("--point", options.point,
            "Where the rig is tapped: a gain control's name, or 'head unit'")
      .needs("--rig");
  command.number("--volume", options.volume, "Volume step that the rig starts with").needs("--rig");
}

void add_level_options(Command& command, WatchOptions& options) {
  command.quantity("--volts-full-scale", options.volts_per_full_scale,
                   "Peak volts at the tap that reach digital full scale");
  command.text("--calibration", options.calibration, "Calibration file that `calibrate` wrote")
      .excludes("--volts-full-scale");
  command
      .text("--interface", options.interface,
            "The sound interface's own figures, as `loopback` wrote them")
      .called("FILE");
  command.text("--target", options.target,
               "Voltage to reach, 14.14V; without a calibration a level, -12dBFS");
  command.quantity("--power", options.power, "Or the power of that voltage")
      .needs("--load")
      .excludes("--target");
  command.quantity("--load", options.load, "into this load").needs("--power");
  command.quantity("--tolerance", options.tolerance, "How far off is still on target");
  command.quantity("--limit", options.limit, "THD+N over this is distorted");
}

}  // namespace

Command watch_command() {
  auto options = std::make_shared<WatchOptions>();
  Command command("watch", "Watch volts, distortion and flat tops while a control is turned");
  command.footer =
      "Example:\n"
      "  railtap watch capture.wav --fast --plain --volts-full-scale 47V --target 3.3V\n"
      "Live, without FILE: watch --calibration tap.toml --power 55W --load 4ohm\n"
      "A rehearsal without hardware: watch --rig\n"
      "On a phone in the same network: watch --rig --page --lan\n"
      "Keys: h hold, r reset, t target, n next channel, s save the reading, q quit.\n"
      "Exit status: 1 when the last reading was outside a limit or off the target, or samples "
      "were\n"
      "lost.";
  add_source_options(command, *options);
  add_rig_options(command, *options);
  add_level_options(command, *options);
  command.flag("--plain", options->plain, "Print a line per update");
  command.flag("--json", options->json, "Print one JSON document per line").excludes("--plain");
  command.flag("--sound", options->sound,
               "Guide by sound: the pitch rises to the target's, is steady on target, comes in "
               "pairs above it, rattles at flat tops");
  command.text("--sound-device", options->sound_device, "Output for it: part of its name")
      .needs("--sound");
  command.quantity("--every", options->every, "Interval between lines");
  add_page_options(command, options->page);
  command.flag("--ascii", options->ascii, "Draw with ASCII characters only");
  command.run = [options] { return run(*options); };
  return command;
}

}  // namespace railtap::command
