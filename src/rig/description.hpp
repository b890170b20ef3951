// SPDX-License-Identifier: MIT
// What a virtual rig consists of: what is printed on its parts, what goes on inside them, and what
// its settings amount to.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "electric/meter.hpp"
#include "rig/filter.hpp"
#include "rig/player.hpp"
#include "units/quantity.hpp"

namespace railtap::rig {

// What a virtual rig consists of: what is printed on its parts, and what goes on inside them.

/// The car's electrics.
struct Supply {
  Volts voltage{14.4};        ///< at the battery, engine as it is while measuring, > 0
  Ohms feed_resistance{0.0};  ///< of the cable that feeds the amplifiers, both ways, >= 0
};

/// Holds the output's peaks at or below a threshold by lowering the gain.
struct Limiter {
  Volts threshold{0.0};   ///< peak, > 0
  Seconds attack{0.001};  ///< time constants, > 0
  Seconds release{0.2};
};

/// Mutes the output for good once its peaks have stayed at or over a threshold: what an amplifier
/// does to save itself or the speakers, until its power is taken away. In the virtual rig: until
/// the next recording, or the next start of a rehearsal.
struct Protection {
  Volts threshold{0.0};  ///< peak at the output, > 0
  Seconds hold{0.0};     ///< how long peaks may stay over it, >= 0
};

/// A power stage: everything between a clean signal and the terminals.
struct OutputStage {
  Volts rail{0.0};         ///< peak that it reaches without a load at the rated supply, > 0
  Percent asymmetry{0.0};  ///< by how much nearer the negative rail is, 0 … 50
  Percent knee{0.0};       ///< half width of the knee re the rail, 0 (a corner) … 100
  Volts crossover{0.0};    ///< half width of the band around zero where the gain is lower, >= 0
  Percent crossover_loss{100.0};        ///< of the gain within that band, 0 … 100
  std::optional<double> slew_v_per_us;  ///< the fastest it can move, > 0
  Ohms output_resistance{0.0};          ///< >= 0
  Ohms sag_resistance{0.0};  ///< its rails fall by this times the mean rectified load current, >= 0
  Seconds sag_time{0.05};    ///< time constant of that fall, > 0
  std::optional<Limiter> limiter;
  std::optional<Protection> protection;
  Volts hiss{0.0};  ///< RMS at the output, 20 Hz … 20 kHz, >= 0
};

/// What a control adds at the ends of the band; 0 dB is flat.
struct ToneControls {
  Decibels bass{0.0};    ///< below 100 Hz
  Decibels treble{0.0};  ///< above 10 kHz
  bool loudness = false;
  Decibels loudness_boost{10.0};  ///< at bass, at the lowest volume step; half of it at treble
};

/// What plays the track: volume, tone controls and a power stage for each of four outputs, left and
/// right at front and rear.
struct HeadUnit {
  std::string name;
  int steps = 40;            ///< the volume control's highest step, >= 1; 0 is mute
  Decibels step_size{1.5};   ///< from one step to the next, > 0
  Volts full_output{17.0};   ///< RMS of a full-scale sine at the highest step, were there no rail
  Decibels rear_fader{0.0};  ///< of the rear outputs re the front
  bool bridge_tied = true;
  Volts drop{2.2};  ///< between the supply and the bridge-tied output's peak, >= 0
  ToneControls tone;
  OutputStage output;  ///< its rail is the supply minus the drop
};

/// An amplifier channel's input: one head unit output, or the mean of several.
struct Input {
  bool rear = false;
  double left = 0.0, right = 0.0;  ///< weights: 1, ½ in a mean of both, < 0 with crossed wires
};

/// One gain control, its channels and the speakers on them.
struct Control {
  std::string name;                             ///< "front"
  std::vector<Input> inputs;                    ///< one per channel, 1 or 2
  std::vector<std::string> input_names;         ///< as described, for reports
  double travel = 0.0;                          ///< position, 0 (least gain) … 1 (most)
  Decibels mismatch{0.0};                       ///< of the second channel re the first
  Watts speaker_power{0.0};                     ///< continuous rating, > 0
  Ohms speaker_load{4.0};                       ///< nominal impedance, > 0
  std::optional<Decibels> speaker_sensitivity;  ///< sound level at 1 m and 2.83 V
  Hertz setup_tone{1000.0};                     ///< with which its gain is set
  FilterSetting high_pass, low_pass;            ///< as switched in now
  Faults faults;
};

/// An amplifier: its ratings as printed on it, what is not printed there, and its gain controls.
struct Amplifier {
  std::string name;
  Watts rated_power{0.0};        ///< per channel into rated_load at 14.4 V, > 0
  Ohms rated_load{4.0};          ///< > 0
  Volts sensitivity_low{1.0};    ///< RMS input for rated power with the control fully up
  Volts sensitivity_high{12.0};  ///< and fully down
  bool bridge_tied = true;
  std::optional<Volts> input_limit;  ///< peak at which its input stage clips, > 0
  Volts input_hiss{0.0};             ///< RMS at the input, 20 Hz … 20 kHz
  bool regulated = false;            ///< its rails do not follow the supply
  Percent efficiency{85.0};          ///< of the power stage, for the current it draws
  OutputStage output;
  std::vector<Control> controls;
};

/// The attenuator between an output and the sound card.
struct Tap {
  double nominal_attenuation = 10.0;  ///< volts in over volts out, by the resistors' marks, >= 1
  Percent error{0.0};                 ///< of the real attenuation, from the resistors' tolerance
  bool bridge_tied = true;            ///< resistors and capacitors in both legs
  std::optional<Hertz> coupling;      ///< corner of its blocking capacitors
};

/// What a recorder's software does to the level: it lets the gain rise at `rise` a second until the
/// recording exceeds its level, then takes it back fast by `hysteresis`, and so on.
struct LevelControl {
  Dbfs level{-12.0};           ///< peak level of the recording, as of a sine
  double rise_db_per_s = 3.0;  ///< > 0
  Decibels hysteresis{3.0};    ///< > 0
  Decibels range{20.0};        ///< the most by which it moves the gain, > 0
};

/// Recording software that does not keep up: samples that are replaced by silence, or left out.
struct Losses {
  std::optional<Seconds> every;  ///< from one to the next, > 0; none: nothing is lost
  Seconds length{0.01};          ///< of each, > 0
};

/// The recording input behind the tap, and its converter.
struct SoundCard {
  Hertz rate{48000.0};
  Volts full_scale{1.0};          ///< peak at its input, > 0
  std::optional<Hertz> coupling;  ///< corner of its AC coupling
  std::optional<Hertz>
      anti_alias;  ///< corner of an analog 12 dB/octave filter before the converter
  std::optional<Percent> input_limit;  ///< where its input stage clips, of full scale
  int bits = 24;                       ///< 8 … 32
  bool dither = true;                  ///< TPDF
  Dbfs noise{-105.0};                  ///< 20 Hz … 20 kHz
  Percent dc{0.0};                     ///< of full scale
  std::optional<LevelControl> level_control;
  Losses gaps;             ///< replaced by silence
  Losses missing;          ///< left out
  double clock_ppm = 0.0;  ///< how much faster than its mark its clock is, ±1000
};

/// A meter, and what is wrong with this specimen.
struct Multimeter {
  electric::Meter manual;         ///< as its manual describes it; a resolution is needed
  double gain_error_share = 0.0;  ///< −1 … 1 of the manual's percent of reading
  double offset_counts = 0.0;     ///< within ± the manual's counts
};

/// A car that does not exist, and the instruments at it.
struct Rig {
  std::string name;
  std::uint64_t seed = 1;  ///< of all noise
  Supply supply;
  HeadUnit head_unit;
  std::vector<Amplifier> amplifiers;
  Tap tap;
  SoundCard sound_card;
  Multimeter multimeter;
  std::optional<HandSetting> hand;  ///< none: controls are where they are wanted at once
};

/// Reads a rig's description (docs/rig.md lists every key).
/// \param text  TOML
/// \param place its file name, for errors
/// \throws Error with the line for bad TOML, an unknown key (with the nearest known one), a missing
///         one, a wrong type, or a value out of range
[[nodiscard]] Rig parse_rig(std::string_view text, const std::string& place);

/// What a control's channels are called: "front right", also where the wires of its input are
/// crossed, for the sign in the description is a fault that is yet to be found. A channel that sums
/// inputs has its control's name.
[[nodiscard]] std::vector<std::string> output_names(const Control& control);

/// The camper van of the demo: testsignals/camper_van.toml, which is built into the program.
[[nodiscard]] std::string_view camper_van_text();

// What the rig's own settings amount to: for the rig itself, and for tests to compare findings
// with.

/// Peak at which the head unit's outputs clip: the supply minus the drop.
[[nodiscard]] Volts head_unit_rail(const Rig& rig);

/// Volume step as a factor of the highest step's; 0 at step 0.
[[nodiscard]] double volume_gain(const HeadUnit& unit, int step);

/// Peak rail of an amplifier at the rig's supply, without a load.
[[nodiscard]] Volts amplifier_rail(const Rig& rig, const Amplifier& amplifier);

/// An amplifier's own sag and what the feed adds while all its channels play into their speakers:
/// each ampere of load current draws rail/(supply·efficiency) from the supply, and each volt lost
/// there takes rail/supply from the rail (derived). The draw of other amplifiers is not modelled.
[[nodiscard]] Ohms sag_resistance(const Rig& rig, const Amplifier& amplifier);

/// Volts out per volt in, at the control's position. Rated output over the sensitivity there, which
/// goes evenly in decibels from one end to the other.
[[nodiscard]] double gain(const Amplifier& amplifier, const Control& control);

/// RMS of the sine at the terminals whose peak just touches the nearer rail (or where its knee
/// begins), with a load or without.
[[nodiscard]] Volts clip_onset(const Rig& rig, const Amplifier& amplifier,
                               std::optional<Ohms> load);

/// The same for the head unit, which drives no load.
[[nodiscard]] Volts head_unit_clip_onset(const Rig& rig);

/// The highest step at which a sine of this level stays off the head unit's rail; tone controls
/// flat.
[[nodiscard]] int highest_clean_step(const Rig& rig, Dbfs level);

/// Peak volts at the terminals that reach the sound card's full scale, in the middle of the band.
[[nodiscard]] Volts volts_per_full_scale(const Rig& rig);

}  // namespace railtap::rig
