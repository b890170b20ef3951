// SPDX-License-Identifier: MIT
// The marker's numbers, packed into symbols and unpacked from them.
#include "signal/marker.hpp"

#include <cmath>
#include <string>

#include "signal/tone.hpp"
#include "units/error.hpp"

namespace railtap::signal {
namespace {

// Numbers on the wire; a kind that is not here is not for this version of the program.
enum class Kind : unsigned {
  ladder = 1,
  sweep = 2,
  stepped = 3,
  polarity = 4,
  channels = 5,
  silence = 6,
  sine = 7
};

// Five numbers whose meaning depends on the kind. Field widths in bits: 4 (kind), 12, 10, 10, 8, 8,
// and 8 for the CRC.
struct Payload {
  unsigned kind = 0;
  std::array<unsigned, 5> numbers{};
};
constexpr std::array<int, 5> widths{12, 10, 10, 8, 8};
constexpr int kind_width = 4;
constexpr int crc_width = 8;
constexpr int payload_width = 52;
constexpr int bits_per_symbol = 2;

// Any fixed pattern does: it keeps zeros from becoming one long tone that a ladder could be taken
// for.
constexpr std::uint64_t whitening = 0x1B4E72D8C9365A7ULL;

// CRC-8 with x⁸+x²+x+1, as in ITU-T I.432.1 (header error control), without its final XOR.
constexpr unsigned crc_polynomial = 0x07;

unsigned crc8(std::uint64_t payload) {
  unsigned crc = 0;
  for (int bit = payload_width - 1; bit >= 0; --bit) {
    const unsigned top = (crc >> 7) ^ static_cast<unsigned>((payload >> bit) & 1U);
    crc = (crc << 1) & 0xFFU;
    if (top != 0) crc ^= crc_polynomial;
  }
  return crc;
}

std::uint64_t pack(const Payload& payload) {
  std::uint64_t word = payload.kind;
  for (std::size_t i = 0; i < widths.size(); ++i) word = (word << widths[i]) | payload.numbers[i];
  return word;
}

Payload unpack(std::uint64_t word) {
  Payload payload;
  for (std::size_t i = widths.size(); i-- > 0;) {
    payload.numbers[i] = static_cast<unsigned>(word & ((1ULL << widths[i]) - 1));
    word >>= widths[i];
  }
  payload.kind = static_cast<unsigned>(word & ((1ULL << kind_width) - 1));
  return payload;
}

// The number of units in a value, if it is a whole one and fits the field.
unsigned count(double value, double unit, std::size_t field, const char* what) {
  const double units = value / unit;
  const double most = std::ldexp(1.0, widths[field]) - 1.0;
  constexpr double fits = 1e-6;
  if (!(units >= -fits && units <= most) || std::abs(units - std::round(units)) > fits) {
    throw Error(std::string("the marker cannot announce this ") + what, "marker",
                "leave the marker out, or give whole hertz, tenths of a decibel down to -102.3 "
                "dBFS, and tenths of a second");
  }
  return static_cast<unsigned>(std::lround(units));
}

constexpr double tenth = 0.1;
constexpr double sweep_high_unit_hz = 100.0;

unsigned level(Dbfs level_dbfs, std::size_t field) {
  return count(-level_dbfs.value(), tenth, field, "level");
}
Dbfs level(unsigned number) {
  return Dbfs(-0.1 * static_cast<double>(number));
}
Seconds tenths(unsigned number) {
  return Seconds(static_cast<double>(number) / 10.0);
}
Hertz hertz(unsigned number) {
  return Hertz(static_cast<double>(number));
}

Payload payload_of(const LevelLadder& s) {
  return {static_cast<unsigned>(Kind::ladder),
          {count(s.frequency.value(), 1.0, 0, "frequency"), level(s.start, 1), level(s.stop, 2),
           count(s.step.value(), tenth, 3, "step"), count(s.dwell.value(), tenth, 4, "dwell")}};
}
Payload payload_of(const LogSweep& s) {
  return {static_cast<unsigned>(Kind::sweep),
          {count(s.low.value(), 1.0, 0, "frequency"),
           count(s.high.value(), sweep_high_unit_hz, 1, "frequency"), level(s.level, 2), 0,
           count(s.length.value(), 1.0, 4, "length")}};
}
// A stepped sine is announced by how many bands follow one another from which on.
unsigned first_band(const SteppedSine& s) {
  const auto first = first_third_octave(s.frequencies);
  if (first) return static_cast<unsigned>(*first);
  throw Error("the marker cannot announce these frequencies", "marker",
              "give third octaves one after the other, for example 40, 50, 63 and 80 Hz, or leave "
              "the marker out");
}

Payload payload_of(const SteppedSine& s) {
  return {static_cast<unsigned>(Kind::stepped),
          {static_cast<unsigned>(s.frequencies.size()), first_band(s), level(s.level, 2), 0,
           count(s.dwell.value(), tenth, 4, "dwell")}};
}
Payload payload_of(const PolarityPulses& s) {
  return {static_cast<unsigned>(Kind::polarity),
          {count(s.fundamental.value(), 1.0, 0, "frequency"),
           count(s.length.value(), tenth, 1, "length"), level(s.level, 2), 0, 0}};
}
Payload payload_of(const ChannelPattern& s) {
  return {static_cast<unsigned>(Kind::channels), {0, 0, level(s.level, 2), 0, 0}};
}
Payload payload_of(const Silence& s) {
  return {static_cast<unsigned>(Kind::silence),
          {0, count(s.length.value(), tenth, 1, "length"), 0, 0, 0}};
}
Payload payload_of(const Sine& s) {
  return {static_cast<unsigned>(Kind::sine),
          {count(s.frequency.value(), 1.0, 0, "frequency"),
           count(s.length.value(), tenth, 1, "length"), level(s.level, 2), 0, 0}};
}
template <class Other>
Payload payload_of(const Other&) {
  throw Error("has no announcement", "marker",
              "put a marker in front of a ladder, sweep, polarity, channels, silence or sine only");
}

std::optional<Signal> stepped_of(const Payload& payload) {
  const auto& n = payload.numbers;
  const auto frequencies = third_octaves(static_cast<int>(n[1]), static_cast<int>(n[0]));
  if (frequencies.empty()) return std::nullopt;
  return SteppedSine{frequencies, level(n[2]), tenths(n[4])};
}

std::optional<Signal> signal_of(const Payload& payload) {
  const auto& n = payload.numbers;
  switch (static_cast<Kind>(payload.kind)) {
    case Kind::ladder:
      return LevelLadder{hertz(n[0]), level(n[1]), level(n[2]),
                         Decibels(static_cast<double>(n[3]) / 10.0), tenths(n[4])};
    case Kind::sweep:
      return LogSweep{hertz(n[0]), hertz(n[1]) * sweep_high_unit_hz, level(n[2]),
                      Seconds(static_cast<double>(n[4]))};
    case Kind::stepped:
      return stepped_of(payload);
    case Kind::polarity:
      return PolarityPulses{hertz(n[0]), level(n[2]), tenths(n[1])};
    case Kind::channels:
      return ChannelPattern{level(n[2])};
    case Kind::silence:
      return Silence{tenths(n[1])};
    case Kind::sine:
      return Sine{hertz(n[0]), level(n[2]), tenths(n[1])};
  }
  return std::nullopt;
}

}  // namespace

const MarkerWaveform& waveform(MarkerBand band) {
  return band == MarkerBand::low ? low_marker : mid_marker;
}

Seconds marker_length(MarkerBand band) {
  if (band == MarkerBand::none) return Seconds(0.0);
  return Seconds(static_cast<double>(marker_symbols) * waveform(band).symbol_s + marker_gap_s);
}

MarkerData announce(const Signal& signal) {
  const std::uint64_t payload =
      pack(std::visit([](const auto& s) { return payload_of(s); }, signal));
  std::uint64_t word = ((payload << crc_width) | crc8(payload)) ^ whitening;
  MarkerData data{};
  for (std::size_t i = data.size(); i-- > 0; word >>= bits_per_symbol)
    data[i] = static_cast<std::uint8_t>(word & 3U);
  return data;
}

std::optional<Signal> announced_signal(std::span<const std::uint8_t> data) {
  if (data.size() != marker_data_symbols) return std::nullopt;
  std::uint64_t word = 0;
  for (const std::uint8_t symbol : data) word = (word << bits_per_symbol) | (symbol & 3U);
  word ^= whitening;
  const std::uint64_t payload = word >> crc_width;
  if (crc8(payload) != (word & 0xFFU)) return std::nullopt;
  return signal_of(unpack(payload));
}

}  // namespace railtap::signal
