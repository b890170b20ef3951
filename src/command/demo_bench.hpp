// SPDX-License-Identifier: MIT
// What a person at the car can see, turn and record, all that the demo may know of the rig; and the
// demo's folder: tones, recordings and results, each written whole or not at all.
#pragma once

#include <cstddef>
#include <filesystem>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "audio/stream.hpp"
#include "command/recorded.hpp"
#include "electric/meter.hpp"
#include "files/atomic_file.hpp"
#include "rig/description.hpp"
#include "signal/tone.hpp"
#include "units/quantity.hpp"

namespace railtap::command {

// What a person at the car can see, turn and record: all that the demo may know of the rig.

/// What is printed on an amplifier and its speakers, per gain control.
struct ControlPlate {
  std::string name, amplifier;
  std::vector<std::string> inputs;  ///< one per channel, without the sign of crossed wires
  Watts amplifier_power{0.0}, speaker_power{0.0};  ///< both into `load`
  Ohms load{0.0};                                  ///< the speaker's impedance
  Volts sensitivity{0.0};  ///< RMS input for rated power with the gain fully up
  bool regulated = false;  ///< its power does not depend on the supply
  Hertz setup_tone{0.0};
};

/// Where the tap's leads and the meter's probes are.
struct Probe {
  std::optional<std::size_t> control;  ///< none: at the head unit
};

/// The volume while a track plays.
struct VolumePlan {
  int first = 0;
  int last = 0;
  Seconds dwell{0.0};  ///< on each step; the last holds until the end
};

/// A car with everything laid open: ratings as data, everything else as actions.
struct Bench {
  std::string system;
  Seconds before{0.0};    ///< of idling in front of a track in a recording
  Seconds way_back{0.0};  ///< that a hand which returns needs behind the highest volume
  int volume_steps = 0;
  std::vector<ControlPlate> controls;
  electric::Meter meter;
  Volts supply{0.0};              ///< as the person reads it at the amplifier
  Volts nominal_full_scale{0.0};  ///< peak volts at digital full scale by the resistors' marks
  std::function<double(std::size_t control)> travel;             ///< where a gain control stands
  std::function<void(std::size_t control, double travel)> turn;  ///< to the nearest half percent
  std::function<void(std::size_t control)> exchange_pair;        ///< its two inputs
  std::function<void(std::size_t control, std::size_t channel)>
      exchange_polarity;                                        ///< plus and minus of one input
  std::function<void(std::size_t control)> switch_filters_off;  ///< high-pass and low-pass
  std::function<audio::Source(const std::filesystem::path& track, Probe, VolumePlan)> record;
  std::function<Volts(const std::filesystem::path& track, Probe, int volume)> read_meter;
};

/// A bench around a virtual rig.
[[nodiscard]] Bench make_bench(rig::Rig rig);

// The demo's folder: tones, recordings and results, each written whole or not at all.

/// A folder with tones/, captures/ and results/.
struct DemoFolder {
  std::filesystem::path root;
  files::Overwrite overwrite = files::Overwrite::refuse;

  /// Where files of this name lie: tones and captures are WAV, results JSON.
  [[nodiscard]] std::filesystem::path tone(const std::string& name) const;
  [[nodiscard]] std::filesystem::path capture(const std::string& name) const;
  [[nodiscard]] std::filesystem::path result(const std::string& name) const;
};

/// Creates the folders. Files in them may be overwritten from then on, since the folder is known to
/// be the demo's own. \throws Error where the folder holds something and `overwrite` refuses, or it
/// can't be created
[[nodiscard]] DemoFolder open_demo_folder(const std::filesystem::path& root,
                                          files::Overwrite overwrite);

/// Renders a track into tones/, 24-bit WAV at 48 kHz. \returns its path
std::filesystem::path write_tone(const DemoFolder& folder, const signal::Track& track);

/// Writes a recording into captures/. \returns its path
std::filesystem::path write_capture(const DemoFolder& folder, const std::string& name,
                                    const audio::Source& recording);

/// Measures a capture, with its document left in results/.
[[nodiscard]] Recorded analyze_capture(const DemoFolder& folder, const std::string& name,
                                       const judge::Limits& limits);

}  // namespace railtap::command
