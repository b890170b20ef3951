// SPDX-License-Identifier: MIT
// What a person at the car can see, turn and record, all that the demo may know of the rig; and the
// demo's folder: tones, recordings and results, each written whole or not at all.
#include "command/demo_bench.hpp"

#include <cmath>
#include <memory>
#include <system_error>
#include <vector>

#include "audio/sound_file.hpp"
#include "files/atomic_file.hpp"
#include "report/analysis.hpp"
#include "rig/instruments.hpp"
#include "signal/generator.hpp"
#include "units/error.hpp"

namespace railtap::command {

// The virtual rig behind the bench.

namespace {

/// Nobody turns a control finer than this.
constexpr double finest_turn = 0.005;

rig::TapPoint point_of(const rig::Rig& rig, Probe probe) {
  rig::TapPoint point;
  if (!probe.control) return point;
  point.at = rig::TapPoint::At::amplifier;
  point.control = *probe.control;
  while (point.control >= rig.amplifiers[point.amplifier].controls.size()) {
    point.control -= rig.amplifiers[point.amplifier].controls.size();
    ++point.amplifier;
  }
  return point;
}

rig::Control& control_of(rig::Rig& rig, std::size_t control) {
  const rig::TapPoint point = point_of(rig, {control});
  return rig.amplifiers[point.amplifier].controls[point.control];
}

rig::Play play_of(const rig::Rig& rig, Probe probe, VolumePlan volume) {
  rig::Play play;
  play.point = point_of(rig, probe);
  for (int step = volume.first; step <= volume.last; ++step) {
    play.volume.push_back({volume.dwell * (step - volume.first), step});
  }
  if (rig.hand && rig.hand->returns && volume.last > volume.first) {
    play.volume.push_back({volume.dwell * (volume.last - volume.first + 1), volume.first});
  }
  return play;
}

Seconds way_back_of(const rig::Rig& rig) {
  if (!rig.hand || !rig.hand->returns) return Seconds(0.0);
  constexpr double patience = 2.0;  // re the mean speed: it may be half of that
  constexpr Seconds rest{1.0};
  const double way_db = rig.head_unit.step_size.value() * rig.head_unit.steps;
  double seconds = patience * way_db / rig.hand->speed_db_per_s;
  if (rig.hand->pause_every.value() > 0.0) {
    seconds += patience * way_db / rig.hand->pause_every.value() * rig.hand->pause.value();
  }
  return rest + Seconds(seconds);
}

std::vector<ControlPlate> plates_of(const rig::Rig& rig) {
  std::vector<ControlPlate> plates;
  for (const rig::Amplifier& amplifier : rig.amplifiers) {
    for (const rig::Control& control : amplifier.controls) {
      const double same_volts = amplifier.rated_load / control.speaker_load;
      plates.push_back({control.name, amplifier.name, rig::output_names(control),
                        amplifier.rated_power * same_volts, control.speaker_power,
                        control.speaker_load, amplifier.sensitivity_low, amplifier.regulated,
                        control.setup_tone});
    }
  }
  return plates;
}

}  // namespace

Bench make_bench(rig::Rig described) {
  const auto rig = std::make_shared<rig::Rig>(std::move(described));
  Bench bench;
  bench.system = rig->name;
  bench.before = rig::Play().before;
  bench.way_back = way_back_of(*rig);
  bench.volume_steps = rig->head_unit.steps;
  bench.controls = plates_of(*rig);
  bench.meter = rig->multimeter.manual;
  bench.supply = rig->supply.voltage;
  bench.nominal_full_scale = rig->sound_card.full_scale * rig->tap.nominal_attenuation;
  bench.travel = [rig](std::size_t control) { return control_of(*rig, control).travel; };
  bench.turn = [rig](std::size_t control, double travel) {
    control_of(*rig, control).travel = std::round(travel / finest_turn) * finest_turn;
  };
  bench.exchange_pair = [rig](std::size_t control) {
    bool& swapped = control_of(*rig, control).faults.swapped;
    swapped = !swapped;
  };
  bench.exchange_polarity = [rig](std::size_t control, std::size_t channel) {
    rig::Control& turned = control_of(*rig, control);
    const std::size_t last = turned.inputs.size() - 1;
    rig::Input& input = turned.inputs[turned.faults.swapped ? last - channel : channel];
    input.left = -input.left;
    input.right = -input.right;
  };
  bench.switch_filters_off = [rig](std::size_t control) {
    control_of(*rig, control).high_pass.order = control_of(*rig, control).low_pass.order = 0;
  };
  bench.record = [rig](const std::filesystem::path& track, Probe probe, VolumePlan volume) {
    return rig::record(*rig, play_of(*rig, probe, volume), audio::open_sound_file(track));
  };
  bench.read_meter = [rig](const std::filesystem::path& track, Probe probe, int volume) {
    return rig::read_meter(*rig, play_of(*rig, probe, {volume, volume, Seconds(0.0)}),
                           audio::open_sound_file(track));
  };
  return bench;
}

// Writing the demo's files.

namespace {

constexpr Hertz tone_rate{48000.0};
constexpr std::size_t block_frames = 4096;
constexpr double code_step = 0x1p-23;  // 24 bits

void create(const std::filesystem::path& folder) {
  std::error_code failure;
  std::filesystem::create_directories(folder, failure);
  if (failure) {
    throw Error("the folder cannot be created: " + failure.message(), folder.string(),
                "name a folder in a place that can be written");
  }
}

}  // namespace

std::filesystem::path DemoFolder::tone(const std::string& name) const {
  return root / "tones" / (name + ".wav");
}
std::filesystem::path DemoFolder::capture(const std::string& name) const {
  return root / "captures" / (name + ".wav");
}
std::filesystem::path DemoFolder::result(const std::string& name) const {
  return root / "results" / (name + ".json");
}

DemoFolder open_demo_folder(const std::filesystem::path& root, files::Overwrite overwrite) {
  std::error_code failure;
  const bool holds_something =
      std::filesystem::exists(root, failure) && !std::filesystem::is_empty(root, failure);
  if (holds_something && overwrite == files::Overwrite::refuse) {
    throw Error("the folder is not empty", root.string(),
                "name a new one, or give --force to overwrite what the demo writes");
  }
  for (const char* part : {"tones", "captures", "results"}) create(root / part);
  return {root, files::Overwrite::allow};
}

std::filesystem::path write_tone(const DemoFolder& folder, const signal::Track& track) {
  audio::SoundFileSpec spec;
  spec.rate = tone_rate;
  spec.channels = 2;
  spec.title = track.title;
  spec.comment = track.purpose;
  auto path = folder.tone(track.name);
  const audio::Sink sink = audio::create_sound_file(path, spec, folder.overwrite);
  signal::Generator generator(track, tone_rate, signal::Dither::highest_peak(code_step));
  signal::Dither dither(code_step);
  std::vector<double> block(2 * block_frames);
  while (const std::size_t frames = generator.render(block)) {
    files::throw_if_interrupted();
    const auto samples = std::span<double>(block).first(2 * frames);
    dither.add(samples);
    sink.write(samples);
  }
  sink.commit();
  return path;
}

std::filesystem::path write_capture(const DemoFolder& folder, const std::string& name,
                                    const audio::Source& recording) {
  audio::SoundFileSpec spec;
  spec.title = name;
  auto path = folder.capture(name);
  audio::write_sound_file(path, spec, recording, folder.overwrite);
  return path;
}

Recorded analyze_capture(const DemoFolder& folder, const std::string& name,
                         const judge::Limits& limits) {
  const auto path = folder.capture(name);
  Recorded recorded = measure_recording(path, limits);
  report::AnalysisDocument document;
  document.file_name = path.string();
  document.format = recorded.format;
  document.frames = recorded.frames;
  document.limits = limits;
  document.channels = recorded.analyses;
  files::write_file(folder.result(name), report::analysis_json(document).line() + "\n",
                    folder.overwrite);
  return recorded;
}

}  // namespace railtap::command
