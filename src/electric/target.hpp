// SPDX-License-Identifier: MIT
// The AC voltage an amplifier channel should deliver, what a reading at its terminals says about
// it, and the sound level that a voltage gives.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "electric/meter.hpp"
#include "units/quantity.hpp"

namespace railtap::electric {

/// What sets the target: a rating, what the amplifier gives at its supply, what the head unit can
/// drive it to, or where it was measured to clip.
enum class Limit { amplifier, speaker, supply, head_unit, clipping };

/// "amplifier", "speaker", "supply", "head-unit" or "clipping".
[[nodiscard]] const char* name(Limit limit);

/// The limit of that name; none for another text.
[[nodiscard]] std::optional<Limit> limit_named(std::string_view text);

/// Which way the gain control should go.
enum class Direction { raise, lower, hold };

/// "raise", "lower" or "hold".
[[nodiscard]] const char* name(Direction direction);

/// The default for how far a reading may be off. A quarter of a decibel is 2.9 % in volts: a little
/// more than the error of an ordinary meter, ±(1.2 % + 5), at these voltages, as fine as a gain
/// control can be set by hand, and no more than what lies between the onset of clipping and 1 % of
/// distortion (0.251 dB).
inline constexpr Decibels default_tolerance{0.25};

/// A reading that is further from the target is more likely a mistyped digit or a wrong range of
/// the meter than a gain: it is a factor of four (common practice).
inline constexpr Decibels plausible_distance{12.0};

/// The supply voltage at which mobile amplifiers are rated [CTA-2006].
inline constexpr Volts rated_supply{14.4};

/// The lowest set-up tone that makes sense: recordings with more headroom than this are not played
/// loud.
inline constexpr Dbfs lowest_tone_level{-40.0};

/// What keeps the voltage of a channel down, besides its ratings.
struct Bound {
  Limit by;
  Volts volts;  ///< RMS at the terminals, > 0
};

/// What is left to the measured onset of clipping, where that is the limit.
inline constexpr Decibels below_clipping{0.1};

/// The voltage for a rating into the load it is stated for, √(P·R).
[[nodiscard]] Volts rated_volts(Watts power, Ohms load);

/// The clipping voltage of an unregulated amplifier is proportional to its supply (derived), so
/// its rating holds for `rated_supply` only. None where the supply is not lower.
/// \param rated its rated_volts
/// \throws Error for a supply that is not > 0
[[nodiscard]] std::optional<Bound> supply_bound(Volts rated, Volts supply,
                                                Volts rated_supply = electric::rated_supply);

/// What an input drives an amplifier to with its gain fully up.
/// \param rated its rated_volts
/// \param input RMS of the set-up tone at its input, clean, > 0
/// \param sensitivity RMS input for rated power with the gain fully up, > 0
[[nodiscard]] Bound source_bound(Volts rated, Volts input, Volts sensitivity);

/// `below_clipping` under a measured onset. \param onset RMS, > 0
[[nodiscard]] Bound clipping_bound(Volts onset);

/// One channel (pair) as it is described.
struct Channel {
  std::string name;            ///< may be empty
  Watts amplifier_power{0.0};  ///< rated, continuous, into `load`, > 0; bridged: of the bridge
  Ohms load{0.0};              ///< > 0
  std::optional<Watts> speaker_power;  ///< continuous rating, > 0
  bool bridged = false;                ///< two channels drive one load between them
  std::optional<Volts> reading;        ///< RMS between the speaker terminals, > 0
  std::optional<Volts> typed_digit;    ///< one step of the reading's last digit as typed
  std::vector<Bound> bounds;           ///< what is known besides the ratings
};

/// How all of it is measured.
struct Conditions {
  std::optional<Meter> meter;
  std::optional<Hertz> tone_frequency;
  std::optional<Dbfs> tone_level;  ///< of the tone that plays while the gain is set, −40 … 0 dBFS
  std::optional<Volts> supply;     ///< at the amplifier while the gain is set, > 0
  Volts rated_supply = electric::rated_supply;  ///< at which its power is stated, > 0
  bool regulated = false;                       ///< its power does not depend on the supply
  std::optional<Volts> source;             ///< RMS of a clean full-scale tone at its input, > 0
  std::optional<Volts> sensitivity;        ///< RMS input for rated power, gain fully up, > 0
  Decibels tolerance = default_tolerance;  ///< >= 0
};

/// The voltage to set.
struct Target {
  Watts power;       ///< that it puts into the load
  Limit limited_by;  ///< of equal ones the amplifier's rating comes first, then the speaker's
  Volts volts;       ///< RMS, √(P·R)
  Volts peak;        ///< of a sine
  Amperes current;   ///< RMS, √(P/R)
};

/// What follows from a reading. The low and high values come from the meter's limits of error and
/// are there only when the meter is described.
struct Assessment {
  Volts reading;
  Watts power;        ///< that it would put into the load
  Decibels change;    ///< target over reading: above zero, raise
  Decibels distance;  ///< |change|
  Direction direction;
  bool plausible;  ///< within `plausible_distance`
  std::optional<ReadingBand> band;
  std::optional<PowerBand> power_limits;
  std::optional<Decibels> change_low, change_high;
  bool meter_decides;  ///< the whole band lies on one side of the tolerance; true without a meter
};

/// How far a level that was reached is from its target: above zero, it is louder. The low and high
/// values are there only where its uncertainty is known.
struct Deviation {
  Decibels change{0.0};
  std::optional<Decibels> low, high;
};

/// What a set-up tone below full scale means. Both ways of using it are given.
struct Overlap {
  Dbfs tone_level;
  Decibels overlap;               ///< how much louder than the tone a full-scale passage is
  Decibels full_scale_overdrive;  ///< at the target: how far a full-scale sine exceeds the
                                  ///< amplifier's rating
  Percent full_scale_thd;         ///< its distortion, were the amplifier's rail just at its rating
  Watts full_scale_power;         ///< what it then puts into the load
  /// The voltage to set with this tone so that full scale reaches the target.
  Volts without_overlap;
  Watts tone_power;  ///< what music that peaks at the tone's level then reaches
};

/// What a supply below the rated one costs an amplifier without a regulated supply.
struct SupplyEffect {
  Volts supply;
  Decibels change;      ///< of the clipping voltage, re the rated supply
  Volts reachable;      ///< rated voltage scaled by the supply
  Volts at_rated;       ///< the target at the rated supply
  bool reaches_target;  ///< `reachable` is not below `at_rated`
};

/// One channel's result.
struct ChannelTarget {
  Channel channel;
  Target target;
  Ohms each_half_load{0.0};  ///< what one half of a bridge drives, half the load; else the load
  std::optional<Assessment> assessment;
  std::optional<Overlap> overlap;
  std::optional<SupplyEffect> supply;
};

/// The one place where a target comes from: the lowest of √(P·R) of both ratings (common practice;
/// it is Ohm's law) and of the channel's bounds.
/// \throws Error where a power is not within 1 mW … 100 kW or the load not within 0.1 … 1000 ohm
[[nodiscard]] Target target_for(const Channel& channel);

/// The same by the ratings alone.
[[nodiscard]] Target rated_target(const Channel& channel);

/// Compares a reading with the target. \throws Error for a reading that is not > 0
[[nodiscard]] Assessment assess(const Target& target, const Channel& channel,
                                const Conditions& conditions);

/// \param target, \param reached > 0 \param uncertainty of what was reached, >= 0; of more than 90
/// %, 90 % are taken
[[nodiscard]] Deviation deviation(Volts target, Volts reached, std::optional<Percent> uncertainty);

/// The two ways to use a tone of this level. The rail is taken to lie where the amplifier's rated
/// power is reached, or where supply or measured clipping put it below that, and to clip hard: a
/// real one has a small reserve, which makes this the worst case. \throws Error for a level outside
/// −40 … 0 dBFS
[[nodiscard]] Overlap overlap_for(const Target& target, const Channel& channel, Dbfs tone_level);

/// What the supply means for an amplifier without a regulated one. \param rated the target at the
/// rated supply \throws Error for a supply that is not > 0
[[nodiscard]] SupplyEffect supply_effect(const Target& rated, const Channel& channel,
                                         const Conditions& conditions);

/// All of the above for one channel.
/// \throws Error also where the tone lies outside the meter's band: a reading there says nothing
/// certain
[[nodiscard]] ChannelTarget resolve(const Channel& channel, const Conditions& conditions);

/// True where the channel has a reading that misses the target by more than the tolerance.
[[nodiscard]] bool misses(const ChannelTarget& result);

/// Reads name:power:load[:speaker power][:reading][:bridged]. Behind the name the units tell the
/// parts apart, so they need their units; of two powers the first is the amplifier's. \throws Error
/// with `place` as its place
[[nodiscard]] Channel parse_channel(std::string_view text, std::string_view place);

/// The voltage that a speaker's sensitivity is stated for: 1 W into 8 ohm, sqrt(8) V
/// [IEC 60268-5:2003, 20.3 and 20.4, characteristic sensitivity].
inline constexpr Volts sensitivity_voltage{2.83};

/// Sound level at 1 m on axis in free field: sensitivity + 20·log10(V/2.83 V). Volts that are
/// A-weighted give a level in dB(A). In a cabin it is a little higher, and the ear is closer or
/// further away.
/// \param volts RMS at the speaker, > 0 \param sensitivity dB at 2.83 V and 1 m
[[nodiscard]] Decibels sound_level(Volts volts, Decibels sensitivity);

}  // namespace railtap::electric
