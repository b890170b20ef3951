// SPDX-License-Identifier: MIT
// `railtap capture` and `railtap devices`: recordings from a sound input, and which inputs there
// are.

#include <algorithm>
#include <cmath>
#include <iostream>
#include <memory>

#include <unistd.h>

#include "command/command.hpp"
#include "files/atomic_file.hpp"
#include "files/visible_output.hpp"
#include "live/capture.hpp"
#include "report/capture.hpp"
#include "units/error.hpp"
#include "units/parse.hpp"
#include "units/print.hpp"

namespace railtap::command {

// `railtap capture`: records an input into a file, and says whether all of it is there.

namespace {

using report::CaptureEnd;

struct CaptureOptions {
  std::string file;
  audio::InputRequest input;
  std::optional<Seconds> length;
  int bits = 24;
  bool force = false;
  bool json = false;
};

constexpr std::size_t meter_cells = 20;
constexpr double meter_floor_dbfs = -60.0;

std::string bar(const std::optional<Dbfs>& peak) {
  const double share = peak ? 1.0 - peak->value() / meter_floor_dbfs : 0.0;
  const auto filled = static_cast<std::size_t>(
      std::lround(std::clamp(share, 0.0, 1.0) * static_cast<double>(meter_cells)));
  return std::string(filled, '#') + std::string(meter_cells - filled, '.');
}

// One line on standard error that is written over and over.
class LevelLine {
 public:
  void show(const live::CaptureProgress& progress) {
    constexpr int hold_updates = 20;  // two seconds
    if (progress.clipped_now) clip_shown_ = hold_updates;
    std::string line = format_fixed(progress.recorded, 1);
    for (const auto& peak : progress.peaks) {
      line += "  " + bar(peak) + (peak ? " " + format_fixed(*peak, 1) : " silent");
    }
    if (clip_shown_ > 0) line += "  CLIPPED: lower the input";
    if (progress.places_with_losses > 0)
      line += "  LOSSES: " + std::to_string(progress.places_with_losses);
    clip_shown_ = std::max(clip_shown_ - 1, 0);
    const std::size_t width = std::max(line.size(), width_);
    width_ = line.size();
    line.resize(width, ' ');
    std::cerr << files::AsItIs{"\r"} << line << std::flush;
  }
  ~LevelLine() {
    if (width_ > 0) std::cerr << '\n';
  }

 private:
  std::size_t width_ = 0;
  int clip_shown_ = 0;
};

report::CaptureDocument record(const CaptureOptions& options) {
  audio::InputStream input(options.input);
  live::CaptureJob job;
  job.file.path = options.file;
  job.file.bits = options.bits;
  job.file.overwrite = options.force ? files::Overwrite::allow : files::Overwrite::refuse;
  job.length = options.length;
  job.stop = files::interrupted;
  LevelLine line;
  if (isatty(STDERR_FILENO) != 0) {
    job.progress = [&line](const live::CaptureProgress& progress) { line.show(progress); };
    std::cerr << "Recording from '" << input.device().name << "'; Ctrl-C ends it.\n";
  }
  return live::capture(input, job);
}

void refuse_existing_sidecar(const CaptureOptions& options) {
  const auto sidecar = live::sidecar_of(options.file);
  if (options.force || !std::filesystem::exists(sidecar)) return;
  throw Error("already exists", sidecar.string(), "choose another name, or give --force");
}

// What cut the recording short, after its results were printed.
void throw_if_cut_short(const report::CaptureDocument& document) {
  const std::string kept =
      "what was recorded until then, " +
      format_quantity(Seconds(static_cast<double>(document.frames) / document.rate.value()), 4) +
      ", is in the file";
  if (document.end == CaptureEnd::device_vanished) {
    throw Error("the input '" + document.device + "' vanished or fell silent", document.file,
                kept + "; check its plug and record again");
  }
  if (document.end == CaptureEnd::disk_full) {
    throw Error("the disk is full", document.file, kept + "; make room and record again");
  }
}

ExitStatus run(const CaptureOptions& options) {
  if (options.length) require_positive(*options.length, "--seconds");
  if (options.input.rate) require_positive(*options.input.rate, "--rate");
  refuse_existing_sidecar(options);
  const report::CaptureDocument document = record(options);
  std::cout << (options.json ? report::capture_json(document).page()
                             : report::capture_text(document));
  if (document.end == CaptureEnd::size_limit) {
    std::cerr << "railtap: note: the recording ended because a WAV file holds no more than 4 GB\n";
  }
  throw_if_cut_short(document);
  if (!document.gaps.empty() || report::clipped(document)) return ExitStatus::outside_limits;
  // Without a length, Ctrl-C is how a recording is meant to end.
  const bool broken_off = document.end == CaptureEnd::interrupt && options.length;
  return broken_off ? ExitStatus::interrupted : ExitStatus::within_limits;
}

}  // namespace

Command capture_command() {
  auto options = std::make_shared<CaptureOptions>();
  Command command("capture", "Record an audio input into a WAV file");
  command.footer =
      "Example:\n  railtap capture front.wav --seconds 20s\n"
      "The file is readable at every moment; FILE.json beside it says whether all of it is there.\n"
      "Exit status: 1 when samples were lost or the recording clipped, 2 when the input vanished "
      "or\n"
      "the disk was full.";
  command.text("FILE", options->file, "Recording to write, NAME.wav").required();
  command.text("--device", options->input.device,
               "Input: its number or part of its name, see `railtap devices`");
  command.quantity("--rate", options->input.rate,
                   "Samples per second (default: 48 kHz where the input takes it)");
  command.number("--channels", options->input.channels, "Channels (default: 2, or 1)");
  command.number("--bits", options->bits, "Bits of a sample: 16, 24 or 32")
      .defaulting_to(std::to_string(options->bits));
  command.quantity("--seconds", options->length, "Length (default: until Ctrl-C)");
  command.flag("--force", options->force, "Replace an existing file");
  command.flag("--json", options->json, "Print one JSON document");
  command.run = [options] { return run(*options); };
  return command;
}

// `railtap devices`: the audio inputs that there are, and what each can do.

Command devices_command() {
  Command command("devices", "List the audio inputs and what each can do");
  command.footer = "Example:\n  railtap devices";
  auto json = std::make_shared<bool>(false);
  command.flag("--json", *json, "Print one JSON document");
  command.run = [json] {
    const auto inputs = audio::list_inputs();
    std::cout << (*json ? report::devices_json(inputs).page() : report::devices_text(inputs));
    return ExitStatus::within_limits;
  };
  return command;
}

}  // namespace railtap::command
