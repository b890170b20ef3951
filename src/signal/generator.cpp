// SPDX-License-Identifier: MIT
// Renders a track block by block, at constant memory; random numbers that are the same on every
// machine, dither, and pink noise.
#include "signal/generator.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <cstdint>
#include <memory>
#include <numbers>

#include <kissfft/kissfft.hh>

#include "signal/marker.hpp"
#include "units/error.hpp"
#include "units/print.hpp"

namespace railtap::signal {

// Dither, and pink noise as one long period of many sines.

void Dither::add(std::span<double> samples) {
  const double scale = step_ * 0x1p-32;  // a half is uniform over 2^32 values around zero
  for (double& sample : samples) {
    const std::uint64_t bits = random_.next();
    const auto high = static_cast<std::int32_t>(bits >> 32);
    const auto low = static_cast<std::int32_t>(bits & 0xFFFFFFFFU);
    sample += scale * (static_cast<double>(high) + static_cast<double>(low));
  }
}

std::vector<double> pink_noise_period(Hertz low, Hertz high, Hertz rate) {
  constexpr std::size_t length = std::size_t{1} << 18;
  const double bin_hz = rate.value() / static_cast<double>(length);
  const auto first = static_cast<std::size_t>(std::ceil(low.value() / bin_hz));
  const auto last = static_cast<std::size_t>(std::floor(high.value() / bin_hz));
  if (first > last) {
    throw Error("the band of the noise is narrower than " + std::to_string(bin_hz) + " Hz",
                "pink noise", "give edges further apart");
  }
  std::vector<std::complex<double>> bins(length), samples(length);
  Random random(0x70696E6BULL);
  double mean_square = 0.0;
  for (std::size_t k = first; k <= last; ++k) {
    const double amplitude = 1.0 / std::sqrt(static_cast<double>(k));
    bins[k] = std::polar(amplitude, 2.0 * std::numbers::pi * random.uniform());
    mean_square += amplitude * amplitude / 2.0;
  }
  kissfft<double> inverse(length, true);
  inverse.transform(bins.data(), samples.data());
  std::vector<double> period(length);
  const double scale = 1.0 / std::sqrt(mean_square);
  for (std::size_t n = 0; n < length; ++n) period[n] = samples[n].real() * scale;
  return period;
}

// Renders a track block by block, at constant memory.

namespace {

constexpr double turn = 2.0 * std::numbers::pi;

}  // namespace

Oscillator::Oscillator(Hertz frequency, Hertz rate)
    : frequency_(frequency.value()), rate_(rate.value()) {
  for (std::size_t n = 0; n < chunk; ++n) {
    const double cycles = cycles_at(static_cast<std::int64_t>(n));
    sine_[n] = std::sin(turn * cycles);
    cosine_[n] = std::cos(turn * cycles);
  }
}

double Oscillator::cycles_at(std::int64_t n) const {
  const auto count = static_cast<double>(n);
  const double product = frequency_ * count;
  const double rounding = std::fma(frequency_, count, -product);
  return (std::fmod(product, rate_) + rounding) / rate_;
}

void Oscillator::render(std::int64_t first, std::span<double> out, double phase_cycles) const {
  const auto length = static_cast<std::int64_t>(chunk);
  while (!out.empty()) {
    const std::int64_t start = first / length * length;
    const auto skip = static_cast<std::size_t>(first - start);
    const std::size_t count = std::min(out.size(), chunk - skip);
    const double angle = turn * (cycles_at(start) + phase_cycles);
    const double s = std::sin(angle), c = std::cos(angle);
    for (std::size_t i = 0; i < count; ++i) {
      out[i] = s * cosine_[skip + i] + c * sine_[skip + i];
    }
    out = out.subspan(count);
    first += static_cast<std::int64_t>(count);
  }
}

Generator::Generator(const Track& track, Hertz rate, double highest_peak) {
  for (const Part& part : track.parts) {
    if (part.marker != MarkerBand::none)
      parts_.push_back(marker_voices(part.signal, part.marker, rate));
    parts_.push_back(voices_of(part.signal, part.channels, rate, highest_peak));
  }
  for (const Voices& part : parts_) frames_ += part.frames;
}

std::size_t Generator::render(std::span<double> interleaved) {
  std::size_t done = 0;
  const std::size_t wanted = interleaved.size() / 2;
  while (done < wanted && part_ < parts_.size()) {
    const Voices& part = parts_[part_];
    const auto left = static_cast<std::size_t>(part.frames - position_);
    const std::size_t count = std::min(wanted - done, left);
    render_part(part, position_, interleaved.subspan(2 * done, 2 * count));
    done += count;
    position_ += static_cast<std::int64_t>(count);
    if (position_ < part.frames) continue;
    ++part_;
    position_ = 0;
  }
  return done;
}

void Generator::render_part(const Voices& part, std::int64_t first, std::span<double> interleaved) {
  const std::size_t count = interleaved.size() / 2;
  left_.assign(count, 0.0);
  right_.assign(part.same ? 0 : count, 0.0);
  if (part.left) part.left(first, left_);
  if (part.right && !part.same) part.right(first, right_);
  const std::vector<double>& right = part.same ? left_ : right_;
  for (std::size_t i = 0; i < count; ++i) {
    interleaved[2 * i] = left_[i];
    interleaved[2 * i + 1] = right[i];
  }
}

// One function per kind of signal, that writes its samples from any place on.

namespace {

constexpr double shortest_fade_s = 0.01;

std::int64_t frames_in(double seconds, Hertz rate) {
  return std::llround(seconds * rate.value());
}

// A raised cosine, 0 at 0 and 1 at 1.
double raised(double x) {
  return 0.5 - 0.5 * std::cos(std::numbers::pi * x);
}

// Fade-in and fade-out of a signal of `total` samples.
struct Envelope {
  std::int64_t total = 0;
  std::int64_t fade = 0;

  Envelope(std::int64_t frames, double lowest_hz, Hertz rate)
      : total(frames),
        fade(std::min(frames / 2, frames_in(std::max(shortest_fade_s, 1.0 / lowest_hz), rate))) {}

  [[nodiscard]] double gain(std::int64_t n) const {
    const std::int64_t to_edge = std::min(n, total - 1 - n);
    if (to_edge >= fade) return 1.0;
    return raised((static_cast<double>(to_edge) + 0.5) / static_cast<double>(fade));
  }

  void apply(std::int64_t first, std::span<double> out) const {
    const auto end = first + static_cast<std::int64_t>(out.size());
    const auto scale = [&](std::int64_t from, std::int64_t to) {
      for (std::int64_t n = std::max(from, first); n < std::min(to, end); ++n)
        out[static_cast<std::size_t>(n - first)] *= gain(n);
    };
    scale(0, fade);
    scale(total - fade, total);
  }
};

void multiply(std::span<double> samples, double gain) {
  for (double& sample : samples) sample *= gain;
}

// The samples of `out`, which starts at `first`, that lie between two places.
std::span<double> between(std::span<double> out, std::int64_t first, std::int64_t from,
                          std::int64_t to) {
  const auto size = static_cast<std::int64_t>(out.size());
  const std::int64_t begin = std::clamp(from - first, std::int64_t{0}, size);
  const std::int64_t end = std::clamp(to - first, begin, size);
  return out.subspan(static_cast<std::size_t>(begin), static_cast<std::size_t>(end - begin));
}

struct Settings {
  Hertz rate;
  double gain;  // what keeps the peak within the codes; 1 but at the very top
  double highest_peak;
};

// A sum of sines under one envelope.
struct Partial {
  Hertz frequency;
  double amplitude;
  double phase_cycles;
};

Voice sum_of_sines(const std::vector<Partial>& partials, std::int64_t frames, Hertz rate) {
  struct Line {
    Oscillator oscillator;
    double amplitude, phase_cycles;
  };
  auto lines = std::make_shared<std::vector<Line>>();
  double lowest_hz = rate.value();
  for (const Partial& p : partials) {
    lines->push_back({Oscillator(p.frequency, rate), p.amplitude, p.phase_cycles});
    lowest_hz = std::min(lowest_hz, p.frequency.value());
  }
  return [lines, envelope = Envelope(frames, lowest_hz, rate), work = std::vector<double>()](
             std::int64_t first, std::span<double> out) mutable {
    work.resize(out.size());
    std::fill(out.begin(), out.end(), 0.0);
    for (const Line& line : *lines) {
      line.oscillator.render(first, work, line.phase_cycles);
      for (std::size_t i = 0; i < out.size(); ++i) out[i] += line.amplitude * work[i];
    }
    envelope.apply(first, out);
  };
}

// Voices in a row: each of the same length.
Voice in_turn(std::vector<Voice> voices, std::int64_t frames_each) {
  return [voices = std::move(voices), frames_each](std::int64_t first, std::span<double> out) {
    while (!out.empty()) {
      const std::int64_t index = first / frames_each;
      const std::int64_t inside = first - index * frames_each;
      const auto left = static_cast<std::size_t>(frames_each - inside);
      const std::size_t count = std::min(out.size(), left);
      voices[static_cast<std::size_t>(index)](inside, out.first(count));
      first += static_cast<std::int64_t>(count);
      out = out.subspan(count);
    }
  };
}

Voices mono(const Voice& voice, std::int64_t frames) {
  return {frames, voice, voice, true};
}

Voices make(const Sine& s, Settings set) {
  const std::int64_t frames = frames_in(s.length.value(), set.rate);
  return mono(sum_of_sines({{s.frequency, set.gain * sine_peak(s.level), 0.0}}, frames, set.rate),
              frames);
}

Voices make(const SteppedSine& s, Settings set) {
  const std::int64_t each = frames_in(s.dwell.value(), set.rate);
  std::vector<Voice> voices;
  for (const Hertz frequency : s.frequencies) {
    voices.push_back(
        sum_of_sines({{frequency, set.gain * sine_peak(s.level), 0.0}}, each, set.rate));
  }
  const auto count = static_cast<std::int64_t>(voices.size());
  return mono(in_turn(std::move(voices), each), each * count);
}

// The level changes in a raised cosine at the start of a step, so the phase runs on and nothing
// clicks.
Voices make(const LevelLadder& s, Settings set) {
  const int steps = ladder_steps(s);
  const std::int64_t each = frames_in(s.dwell.value(), set.rate);
  const std::int64_t frames = each * steps;
  const Envelope step_envelope(2 * each, s.frequency.value(), set.rate);
  std::vector<double> gains;
  gains.reserve(static_cast<std::size_t>(steps));
  for (int k = 0; k < steps; ++k) gains.push_back(set.gain * sine_peak(ladder_level(s, k)));
  const Envelope whole(frames, s.frequency.value(), set.rate);
  return mono(
      [oscillator = Oscillator(s.frequency, set.rate), gains, each, step_envelope, whole](
          std::int64_t first, std::span<double> out) {
        oscillator.render(first, out);
        for (std::size_t i = 0; i < out.size();) {
          const std::int64_t n = first + static_cast<std::int64_t>(i);
          const auto step = static_cast<std::size_t>(n / each);
          const std::int64_t inside = n % each;
          if (inside >= step_envelope.fade || step == 0) {
            const std::int64_t from = n, to = n - inside + each;
            const std::span<double> run = between(out, first, from, to);
            multiply(run, gains[step]);
            i += run.size();
          } else {
            const double before = gains[step - 1];
            out[i++] *= before + (gains[step] - before) * step_envelope.gain(inside);
          }
        }
        whole.apply(first, out);
      },
      frames);
}

// x(t) = sin(2π·f₁·L·(e^(t/L) − 1)), L = T/ln(f₂/f₁) [Farina 2000, paper 5093].
Voices make(const LogSweep& s, Settings set) {
  const std::int64_t frames = frames_in(s.length.value(), set.rate);
  const double rise_s = s.length.value() / std::log(s.high / s.low);
  const double start_cycles = s.low.value() * rise_s;
  const double amplitude = set.gain * sine_peak(s.level);
  const Envelope envelope(frames, s.low.value(), set.rate);
  const double rate_hz = set.rate.value();
  return mono(
      [=](std::int64_t first, std::span<double> out) {
        for (std::size_t i = 0; i < out.size(); ++i) {
          const double t_s = static_cast<double>(first + static_cast<std::int64_t>(i)) / rate_hz;
          const double cycles = start_cycles * std::expm1(t_s / rise_s);
          out[i] = amplitude * std::sin(2.0 * std::numbers::pi * (cycles - std::floor(cycles)));
        }
        envelope.apply(first, out);
      },
      frames);
}

Voices make(const TwoTone& s, Settings set) {
  const std::int64_t frames = frames_in(s.length.value(), set.rate);
  const double second = set.gain * sine_peak(s.level) / std::sqrt(s.ratio * s.ratio + 1.0);
  return mono(
      sum_of_sines({{s.first, s.ratio * second, 0.0}, {s.second, second, 0.0}}, frames, set.rate),
      frames);
}

Voices make(const PinkNoise& s, Settings set) {
  const std::int64_t frames = frames_in(s.length.value(), set.rate);
  auto period = std::make_shared<std::vector<double>>(pink_noise_period(s.low, s.high, set.rate));
  multiply(*period, set.gain * sine_peak(s.level) / std::sqrt(2.0));
  for (const double sample : *period) {
    if (std::abs(sample) <= set.highest_peak) continue;
    throw Error("noise at " + format_quantity(s.level) + " would exceed full scale", "pink noise",
                "give a level 1 dB lower");
  }
  const Envelope envelope(frames, s.low.value(), set.rate);
  return mono(
      [period, envelope](std::int64_t first, std::span<double> out) {
        std::size_t place = static_cast<std::size_t>(first) % period->size();
        for (double& sample : out) {
          sample = (*period)[place];
          if (++place == period->size()) place = 0;
        }
        envelope.apply(first, out);
      },
      frames);
}

Voices make(const Silence& s, Settings set) {
  return {frames_in(s.length.value(), set.rate), {}, {}, true};
}

Voices make(const PolarityPulses& s, Settings set) {
  const std::int64_t frames = frames_in(s.length.value(), set.rate);
  const int orders = polarity_orders(s.fundamental.value());
  double square = 0.0;
  for (int k = 0; k < orders; ++k) {
    const double amplitude = polarity_amplitudes[static_cast<std::size_t>(k)];
    square += amplitude * amplitude;
  }
  const double scale = set.gain * sine_peak(s.level) / std::sqrt(square);
  constexpr double cosine = 0.25;  // cycles
  std::vector<Partial> partials;
  partials.reserve(static_cast<std::size_t>(orders));
  for (int k = 0; k < orders; ++k) {
    partials.push_back({s.fundamental * (k + 1.0),
                        scale * polarity_amplitudes[static_cast<std::size_t>(k)], cosine});
  }
  return mono(sum_of_sines(partials, frames, set.rate), frames);
}

struct Burst {
  std::int64_t start, frames;
  Voice voice;
};

Voice bursts_of(bool left, double amplitude, Hertz rate) {
  std::vector<Burst> bursts;
  for (const PatternBurst& b : pattern_bursts) {
    if (b.left != left) continue;
    const std::int64_t frames = frames_in(b.length_s, rate);
    bursts.push_back(
        {frames_in(b.start_s, rate), frames,
         sum_of_sines({{Hertz(b.low_hz), amplitude, 0.0}, {Hertz(b.high_hz), amplitude, 0.0}},
                      frames, rate)});
  }
  return [bursts](std::int64_t first, std::span<double> out) {
    std::fill(out.begin(), out.end(), 0.0);
    for (const Burst& b : bursts) {
      const std::span<double> inside = between(out, first, b.start, b.start + b.frames);
      if (!inside.empty()) b.voice(std::max(first, b.start) - b.start, inside);
    }
  };
}

Voices make(const ChannelPattern& s, Settings set) {
  const double amplitude = set.gain * sine_peak(s.level) / std::sqrt(2.0);
  Voices voices;
  voices.frames = frames_in(pattern_length_s, set.rate);
  voices.left = bursts_of(true, amplitude, set.rate);
  voices.right = bursts_of(false, amplitude, set.rate);
  return voices;
}

// A marker's symbols and where in the cycle each starts, so that the phase runs on.
struct Symbol {
  std::size_t tone;
  double start_s;
  double phase_cycles;  // at start_s
};

std::vector<Symbol> symbols_of(const MarkerData& data, const MarkerWaveform& wave) {
  std::vector<Symbol> symbols;
  double start_s = 0.0, cycles = 0.0;
  const auto append = [&](std::uint8_t tone) {
    symbols.push_back({tone, start_s, cycles});
    cycles += wave.frequency_hz[tone] * wave.symbol_s;
    cycles -= std::floor(cycles);
    start_s = static_cast<double>(symbols.size()) * wave.symbol_s;
  };
  for (const std::uint8_t tone : marker_preamble) append(tone);
  for (const std::uint8_t tone : data) append(tone);
  return symbols;
}

}  // namespace

Voices voices_of(const Signal& signal, Channels channels, Hertz rate, double highest_peak) {
  require_renderable(signal, rate, "a test signal");
  const double peak = nominal_peak(signal);
  const Settings set{rate, peak > highest_peak ? highest_peak / peak : 1.0, highest_peak};
  Voices voices = std::visit([&](const auto& s) { return make(s, set); }, signal);
  if (std::holds_alternative<ChannelPattern>(signal) || channels == Channels::both) return voices;
  (channels == Channels::left ? voices.right : voices.left) = nullptr;
  voices.same = false;
  return voices;
}

Voices marker_voices(const Signal& announced, MarkerBand band, Hertz rate) {
  const MarkerWaveform& wave = waveform(band);
  const std::vector<Symbol> symbols = symbols_of(announce(announced), wave);
  std::vector<Oscillator> oscillators;
  for (const double frequency_hz : wave.frequency_hz)
    oscillators.emplace_back(Hertz(frequency_hz), rate);
  const double sounding_s = static_cast<double>(symbols.size()) * wave.symbol_s;
  const Envelope envelope(frames_in(sounding_s, rate), wave.frequency_hz[0], rate);
  const auto voice = [=](std::int64_t first, std::span<double> out) {
    std::fill(out.begin(), out.end(), 0.0);
    for (std::size_t k = 0; k < symbols.size(); ++k) {
      const Symbol& symbol = symbols[k];
      const std::int64_t from = frames_in(symbol.start_s, rate);
      const std::int64_t to = frames_in(static_cast<double>(k + 1) * wave.symbol_s, rate);
      const std::span<double> inside = between(out, first, from, to);
      if (inside.empty()) continue;
      const double offset = symbol.phase_cycles - wave.frequency_hz[symbol.tone] * symbol.start_s;
      oscillators[symbol.tone].render(std::max(first, from), inside, offset);
    }
    multiply(out, sine_peak(marker_level));
    envelope.apply(first, out);
  };
  return mono(voice, frames_in(marker_length(band).value(), rate));
}

}  // namespace railtap::signal
