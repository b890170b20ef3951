// SPDX-License-Identifier: MIT
// What a test signal and a kit of them is: descriptions without samples, from which the generator
// renders.
#pragma once

#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

#include "units/quantity.hpp"

namespace railtap::signal {

/// Band n is about 10^(n/10) Hz: 0 is 1 Hz, 13 is 20 Hz, 43 is 20 kHz.
inline constexpr int highest_third_octave = 43;

/// `count` bands from number `first` on, as ISO 266:1997, table 1, rounds them (20, 25, 31.5, 40
/// …); empty where they are none or leave 0 … highest_third_octave.
[[nodiscard]] std::vector<Hertz> third_octaves(int first, int count);

/// The number of the first band, where these are bands one after the other; else none.
[[nodiscard]] std::optional<int> first_third_octave(std::span<const Hertz> frequencies);

// Levels: dBFS is RMS relative to the RMS of a full-scale sine [AES17-2015, 3.12.3], for every
// signal here, also for those that are not sines.

/// A steady sine.
struct Sine {
  Hertz frequency{0.0};
  Dbfs level{0.0};
  Seconds length{0.0};
};

/// A sine whose level moves from `start` to `stop` in equal steps, upwards or downwards.
struct LevelLadder {
  Hertz frequency{0.0};
  Dbfs start{0.0}, stop{0.0};
  Decibels step{0.0};  ///< > 0
  Seconds dwell{0.0};  ///< time on each step
};

/// A sine at one frequency after the other, each for `dwell`.
struct SteppedSine {
  std::vector<Hertz> frequencies;
  Dbfs level{0.0};
  Seconds dwell{0.0};
};

/// A sine whose frequency rises exponentially with time, equal times for equal octaves
/// [A. Farina, AES 108th Convention (2000), paper 5093].
struct LogSweep {
  Hertz low{0.0}, high{0.0};
  Dbfs level{0.0};
  Seconds length{0.0};
};

/// Two sines at once; `ratio` is the amplitude of the first over that of the second.
struct TwoTone {
  Hertz first{0.0}, second{0.0};
  double ratio = 1.0;
  Dbfs level{0.0};
  Seconds length{0.0};
};

/// Noise of equal power per octave between two frequencies and none outside.
struct PinkNoise {
  Hertz low{0.0}, high{0.0};
  Dbfs level{0.0};
  Seconds length{0.0};
};

/// Nothing: digital zero, with dither where there is dither.
struct Silence {
  Seconds length{0.0};
};

/// Pulses whose tips point upwards; see signal/marker.hpp.
struct PolarityPulses {
  Hertz fundamental{0.0};
  Dbfs level{0.0};
  Seconds length{0.0};
};

/// One long burst on the left, then two short ones on the right; see signal/marker.hpp.
struct ChannelPattern {
  Dbfs level{0.0};
};

/// Any signal that a track can hold.
using Signal = std::variant<Sine, LevelLadder, SteppedSine, LogSweep, TwoTone, PinkNoise, Silence,
                            PolarityPulses, ChannelPattern>;

/// Where a signal plays. A channel pattern has its own places and ignores this.
enum class Channels { both, left, right };

/// Whether, and in which frequency range, a marker announces the signal; see signal/marker.hpp.
enum class MarkerBand { none, mid, low };

/// One signal of a track.
struct Part {
  Signal signal;
  Channels channels = Channels::both;
  MarkerBand marker = MarkerBand::none;
};

/// What becomes one file: parts one after the other, and what the person should know.
struct Track {
  std::string name;     ///< part of the file name: lower case, digits, '-'
  std::string title;    ///< into the file's metadata, and onto the card
  std::string purpose;  ///< what it is for
  std::string reading;  ///< what to expect; may be empty
  std::string caution;  ///< how long at what power; may be empty
  std::vector<Part> parts;
};

/// Number of steps of a ladder, both ends included.
/// \throws Error when the step is not > 0 or does not divide the range
[[nodiscard]] int ladder_steps(const LevelLadder& ladder);

/// Level of step `index`, 0 … ladder_steps − 1.
[[nodiscard]] Dbfs ladder_level(const LevelLadder& ladder, int index);

/// How long the signal itself plays, without its marker.
[[nodiscard]] Seconds length_of(const Signal& signal);

/// The highest level in the signal: of a ladder its highest step; none (−infinity) for silence.
[[nodiscard]] Dbfs highest_level(const Signal& signal);

/// Peak in full scales when rendered, from the closed form; of noise, what it can't exceed at its
/// usual crest.
[[nodiscard]] double nominal_peak(const Signal& signal);

/// \throws Error when the signal can't be rendered at this rate: a frequency at or above 0.45 of
/// the rate, a length that is not > 0, a level above 0 dBFS, a peak above full scale
void require_renderable(const Signal& signal, Hertz rate, const std::string& place);

/// In words: "1 kHz, -40 to 0 dBFS in steps of 1 dB, 1 s each".
[[nodiscard]] std::string describe(const Signal& signal);

/// A kit as its recipe describes it, before anything is rendered.
struct Kit {
  std::string title;
  std::vector<Track> tracks;  ///< in the order of their numbers
};

/// testsignals/kit.toml, built into the program.
[[nodiscard]] std::string_view default_recipe_text();

/// "03_setup-997hz-0db": numbered by place, so that a player sorts the files.
/// \param index of the track, from 0
[[nodiscard]] std::string file_stem(const Kit& kit, std::size_t index);

}  // namespace railtap::signal
