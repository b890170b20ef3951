// SPDX-License-Identifier: MIT
// The described system: what is in the vehicle, as TOML with the schema railtap.system/1, and the
// names of its channels as entries of a record refer to them.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "electric/attenuator.hpp"
#include "electric/meter.hpp"
#include "electric/target.hpp"
#include "electric/wire.hpp"
#include "system/json.hpp"
#include "units/quantity.hpp"

namespace railtap::system {

// The described system: what is in the vehicle, as TOML with the schema railtap.system/1.

/// A cable there and back.
struct Cable {
  electric::Gauge gauge;
  Metres length{0.0};  ///< one way, > 0
  bool chassis_return =
      false;  ///< the body is the way back; it is then taken to have no resistance
};

/// Length of the copper that the current flows through: twice the cable's, or once.
[[nodiscard]] inline Metres path_of(const Cable& cable) {
  return cable.chassis_return ? cable.length : cable.length * 2.0;
}

/// A cable from the battery, and the amplifiers that share it.
struct Feed {
  std::string name;
  Cable cable;
  std::optional<Amperes> fuse;      ///< at the battery
  std::optional<Amperes> ampacity;  ///< by the cable's maker; else electric::cable_ampacity
};

/// What feeds the amplifiers.
struct Supply {
  Volts running{14.4};                 ///< at the battery, the engine or a charger running
  std::optional<Volts> while_setting;  ///< at the amplifiers while the gains are set
  std::optional<Amperes> available;    ///< that alternator or charger give all the time
  std::vector<Feed> feeds;
};

/// The source. Its outputs are names, which channels list as their inputs.
struct HeadUnit {
  std::string name;
  int volume_steps = 0;  ///< the highest step, >= 1
  std::vector<std::string> outputs;
  bool bridge_tied = true;
  std::optional<Volts> clean_output;  ///< RMS of a full-scale sine at the highest clean step
  std::optional<int> clean_step;      ///< that step
};

/// One kind of speaker, which several channels may have.
struct Speaker {
  std::string name;
  Ohms impedance{0.0};                  ///< > 0
  std::optional<Watts> power;           ///< continuous
  std::optional<Decibels> sensitivity;  ///< sound level at 2.83 V and 1 m
};

/// What a channel plays. It chooses the set-up tone (50 Hz for bass, else 1 kHz where the meter
/// reads it), and whose sound levels are compared.
enum class Role { doors, bass };

/// One output of an amplifier, or a bridge of two, and what is connected to it.
struct AmplifierChannel {
  std::string name;
  Role role = Role::doors;
  Watts rated_power{0.0};  ///< into rated_load; bridged: of the bridge
  Ohms rated_load{0.0};
  std::string speaker;              ///< its name
  int speakers = 1;                 ///< in parallel
  std::vector<std::string> inputs;  ///< outputs of the head unit
  std::string control;              ///< the gain control; channels with the same name share it
  bool bridged = false;
  std::optional<Hertz> tone;          ///< to set it with; none: as its role says
  std::vector<std::string> switches;  ///< as they are to stand
  std::optional<Cable> cable;         ///< to the speaker
};

/// An amplifier, as its manual has it, and its channels.
struct Amplifier {
  std::string name;
  Volts rated_supply = electric::rated_supply;  ///< at which its power is stated
  Percent rated_thdn{1.0};                      ///< the same; nothing is computed from it
  Volts sensitivity_low{0.0};         ///< RMS input for rated power with the control fully up
  Volts sensitivity_high{0.0};        ///< and fully down, > sensitivity_low
  bool bridge_tied = true;            ///< no speaker terminal is ground
  bool speaker_level = false;         ///< fed from speaker outputs
  bool regulated = false;             ///< its power does not depend on the supply
  std::optional<Percent> efficiency;  ///< at full power; else by its class
  bool class_d = true;                ///< else class AB
  std::string feed;                   ///< its name; empty: not described
  std::optional<Amperes> fuse;        ///< its own
  std::vector<std::string> switches;  ///< as they are to stand
  std::vector<AmplifierChannel> channels;
};

/// The recording input as its manual has it. What a loop-back measured of one is
/// electric::SoundInterface.
struct SoundInterface {
  std::string name;
  std::optional<Volts> full_scale;  ///< RMS of a sine that fills the input
  std::optional<Ohms> input_resistance;
  std::optional<Volts> plug_in_power;  ///< DC on a headset socket's contact
};

/// The resistors of a tap that is there already.
struct DescribedTap {
  Ohms series_each{0.0}, shunt{0.0};
  bool bridge_tied = true;  ///< the minus leg has a resistor too
};

/// All that a system file says. Whatever refers to another part by name names one that is
/// described.
struct SystemDescription {
  std::string name;
  Supply supply;
  HeadUnit head_unit;
  std::vector<Speaker> speakers;
  std::vector<Amplifier> amplifiers;
  std::optional<electric::Meter> meter;
  SoundInterface sound_interface;
  std::optional<DescribedTap> attenuator;
  Dbfs tone_level{0.0};                              ///< of the set-up tone
  Decibels tolerance = electric::default_tolerance;  ///< of a reading
  Json document;                                     ///< the file's keys and values, for records
};

/// \param place the file's name, for errors
/// \throws Error with line and key for what is no TOML, another schema or a newer version, unknown
///         keys (with the nearest known one), and values that are missing, of the wrong kind, out
///         of range, or name what is not described
[[nodiscard]] SystemDescription parse_system(std::string_view text, const std::string& place);

/// Reads a system file. \throws Error as parse_system does, and where it cannot be read
[[nodiscard]] SystemDescription read_system(const std::filesystem::path& path);

/// A commented file to start from: the invented camper van.
[[nodiscard]] std::string_view starter_text();

/// The speaker of that name, which is there once a system was read.
[[nodiscard]] const Speaker& speaker_of(const SystemDescription& system,
                                        const AmplifierChannel& channel);

// The names of a described system's channels, as entries of a record refer to them.

/// The channels that a subject stands for, in the order of the description: those of a gain control
/// ("front": "front left", "front right"), or the one of that name. Empty where the system has
/// neither.
/// \param system as a record carries it; may be empty
[[nodiscard]] std::vector<std::string> channel_names(const JsonView& system,
                                                     const std::string& subject);

}  // namespace railtap::system
