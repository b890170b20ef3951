// SPDX-License-Identifier: MIT
// Markers first, then the parts behind them.
#include "command/verify_capture.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <optional>

#include "audio/sound_file.hpp"
#include "audio/stream.hpp"
#include "files/atomic_file.hpp"
#include "measure/frame.hpp"
#include "measure/known_steps.hpp"
#include "measure/marker.hpp"
#include "units/error.hpp"

namespace railtap::command {
namespace {

using measure::FoundMarker;
using signal::MarkerBand;

// Kept around a part: the marker's own error and the delay of filters.
constexpr Seconds margin{0.35};
// What a part may lack at its end and still count as whole.
constexpr Seconds missing_end{0.2};
// Markers of two channels are the same one within this.
constexpr Seconds same_marker{0.1};
// A channel without a marker that is louder holds something, and nobody knows what.
constexpr Dbfs silent_file{-60.0};

/// A part and the samples that hold it, a vector for each channel.
struct TrackPart {
  FoundMarker marker;
  std::int64_t first = 0, end = 0;  // frames that are kept
  bool whole = true;
  std::vector<std::vector<double>> samples;

  [[nodiscard]] double start() const { return marker.signal_frame - static_cast<double>(first); }
};

struct Scan {
  audio::StreamFormat format;
  std::int64_t frames = 0;
  std::vector<FoundMarker> markers;
  std::vector<measure::FrameFigures> figures;  // of each channel
  Provenance provenance;
};

Scan scan(const std::filesystem::path& path) {
  const audio::Source source = audio::open_sound_file(path);
  Scan result;
  result.format = source.format;
  const auto channels = static_cast<std::size_t>(source.format.channels);
  std::vector<measure::MarkerFinder> finders;
  for (std::size_t c = 0; c < channels; ++c) {
    finders.emplace_back(MarkerBand::mid, source.format.rate);
    finders.emplace_back(MarkerBand::low, source.format.rate);
  }
  result.figures.resize(channels);
  std::vector<double> one;
  result.frames = audio::pump(source, [&](std::span<const double> block) {
    files::throw_if_interrupted();
    const std::size_t count = block.size() / channels;
    one.resize(count);
    for (std::size_t c = 0; c < channels; ++c) {
      for (std::size_t n = 0; n < count; ++n) one[n] = block[n * channels + c];
      result.figures[c].merge(measure::figures(one));
      finders[2 * c].add(one.data(), 1, count);
      finders[2 * c + 1].add(one.data(), 1, count);
    }
    return true;
  });
  for (auto& finder : finders) {
    for (FoundMarker& marker : finder.finish()) result.markers.push_back(std::move(marker));
  }
  result.provenance = provenance_of(path, source, result.frames);
  return result;
}

void require_finite(const Scan& scanned, const std::filesystem::path& path) {
  for (const auto& figures : scanned.figures) {
    if (figures.non_finite == 0) continue;
    throw Error("the recording holds samples that are no numbers", path.string(),
                "record it again, or save it as 24-bit WAV");
  }
}

// The same marker, found in several channels, counts once: where it is clearest.
std::vector<FoundMarker> merged(std::vector<FoundMarker> markers, Hertz rate) {
  std::sort(markers.begin(), markers.end(), [](const FoundMarker& a, const FoundMarker& b) {
    return a.start_frame < b.start_frame;
  });
  std::vector<FoundMarker> once;
  for (FoundMarker& marker : markers) {
    const bool same =
        !once.empty() && once.back().band == marker.band &&
        marker.start_frame - once.back().start_frame < same_marker.value() * rate.value();
    if (!same) {
      once.push_back(std::move(marker));
    } else if (marker.quality > once.back().quality) {
      once.back() = std::move(marker);
    }
  }
  return once;
}

TrackPart part_of(const FoundMarker& marker, const Scan& scanned) {
  const double rate = scanned.format.rate.value();
  const double length = signal::length_of(marker.announced).value() * marker.clock_ratio * rate;
  const double around = margin.value() * rate;
  TrackPart part{marker, 0, 0, true, {}};
  part.first = std::max<std::int64_t>(0, std::llround(marker.signal_frame - around));
  part.end =
      std::min<std::int64_t>(scanned.frames, std::llround(marker.signal_frame + length + around));
  part.whole = marker.signal_frame + length - missing_end.value() * rate <=
               static_cast<double>(scanned.frames);
  return part;
}

bool is_used(const signal::Signal& announced) {
  return std::holds_alternative<signal::ChannelPattern>(announced) ||
         std::holds_alternative<signal::PolarityPulses>(announced) ||
         std::holds_alternative<signal::LogSweep>(announced) ||
         std::holds_alternative<signal::SteppedSine>(announced) ||
         std::holds_alternative<signal::Silence>(announced);
}

// The last whole part of each kind and band; a sweep's and a pulse's frequencies go with the band.
std::vector<TrackPart> wanted(const std::vector<TrackPart>& parts) {
  std::vector<TrackPart> chosen;
  for (auto p = parts.rbegin(); p != parts.rend(); ++p) {
    if (!p->whole || !is_used(p->marker.announced)) continue;
    const bool have = std::any_of(chosen.begin(), chosen.end(), [&](const TrackPart& q) {
      return q.marker.band == p->marker.band &&
             q.marker.announced.index() == p->marker.announced.index();
    });
    if (!have) chosen.push_back(*p);
  }
  // The wide tracks first: they say more, where they arrive.
  std::stable_sort(chosen.begin(), chosen.end(), [](const TrackPart& a, const TrackPart& b) {
    return a.marker.band == MarkerBand::mid && b.marker.band != MarkerBand::mid;
  });
  return chosen;
}

void read_parts(const std::filesystem::path& path, std::vector<TrackPart>& parts) {
  const audio::Source source = audio::open_sound_file(path);
  const auto channels = static_cast<std::size_t>(source.format.channels);
  for (TrackPart& part : parts) {
    part.samples.resize(channels);
    for (auto& one : part.samples) one.reserve(static_cast<std::size_t>(part.end - part.first));
  }
  std::int64_t position = 0;
  (void)audio::pump(source, [&](std::span<const double> block) {
    files::throw_if_interrupted();
    const auto count = static_cast<std::int64_t>(block.size() / channels);
    for (TrackPart& part : parts) {
      const std::int64_t from = std::clamp(part.first - position, std::int64_t{0}, count);
      const std::int64_t to = std::clamp(part.end - position, from, count);
      for (std::size_t c = 0; c < channels; ++c) {
        for (std::int64_t n = from; n < to; ++n)
          part.samples[c].push_back(block[static_cast<std::size_t>(n) * channels + c]);
      }
    }
    position += count;
    return true;
  });
}

// --- Measuring
// -------------------------------------------------------------------------------------

/// Measures the parts of one channel; the clock, once told by the pulses, holds for all. Steady
/// tones tell it well enough for themselves.
class TrackPartMeter {
 public:
  TrackPartMeter(const std::vector<TrackPart>& parts, const audio::StreamFormat& format)
      : parts_(parts), rate_(format.rate), code_step_(format.code_step) {}

  /// The player's clock by the clearest pulses, or the clearest steady tone, of any channel.
  void find_clock(std::size_t channels) {
    find_clock_by_pulses(channels);
    find_clock_by_tones(channels);
  }

  [[nodiscard]] std::optional<double> clock_ratio() const {
    return clock_ratio_ ? clock_ratio_ : tones_clock_ratio_;
  }

  void measure(std::size_t channel, judge::ChannelMeasurements& to) const {
    for (const TrackPart& part : parts_) {
      const std::vector<double>& x = part.samples[channel];
      if (std::holds_alternative<signal::ChannelPattern>(part.marker.announced)) {
        add_pattern(x, part, to);
      } else if (const auto* p = std::get_if<signal::PolarityPulses>(&part.marker.announced)) {
        add_pulses(x, part, *p, to);
      } else if (const auto* s = std::get_if<signal::LogSweep>(&part.marker.announced)) {
        add_sweep(x, part, *s, to);
      } else if (const auto* tones = std::get_if<signal::SteppedSine>(&part.marker.announced)) {
        add_stepped(x, part, *tones, to);
      } else if (const auto* q = std::get_if<signal::Silence>(&part.marker.announced)) {
        add_silence(x, part, *q, to);
      }
    }
  }

 private:
  // Power over noise from which pulses tell the clock within 1e-6, and steady tones within 1e-4.
  static constexpr double clear = 1000.0;

  void find_clock_by_pulses(std::size_t channels) {
    double clearest = clear;
    for (const TrackPart& part : parts_) {
      const auto* pulses = std::get_if<signal::PolarityPulses>(&part.marker.announced);
      for (std::size_t c = 0; pulses != nullptr && c < channels; ++c) {
        const auto reading =
            measure::measure_polarity(part.samples[c], rate_, *pulses, place(part));
        const double clearness =
            std::norm(reading.phasor[0]) / 2.0 / std::max(reading.noise[0], 1e-30);
        if (clearness <= clearest) continue;
        clearest = clearness;
        clock_ratio_ = reading.clock_ratio;
      }
    }
  }

  void find_clock_by_tones(std::size_t channels) {
    double clearest = clear;
    for (const TrackPart& part : parts_) {
      const auto* tones = std::get_if<signal::SteppedSine>(&part.marker.announced);
      for (std::size_t c = 0; tones != nullptr && c < channels; ++c) {
        const measure::PartPlace announced{part.start(), part.marker.clock_ratio};
        const auto clock = measure::clock_of(part.samples[c], rate_, *tones, announced);
        if (clock.clearness <= clearest) continue;
        clearest = clock.clearness;
        tones_clock_ratio_ = clock.ratio;
      }
    }
  }

  [[nodiscard]] measure::PartPlace place(const TrackPart& part) const {
    return {part.start(), clock_ratio_.value_or(part.marker.clock_ratio)};
  }

  void add_pattern(const std::vector<double>& x, const TrackPart& part,
                   judge::ChannelMeasurements& to) const {
    const auto heard = [](const measure::PatternLine& line) { return line.stands_out(); };
    if (to.pattern && std::any_of(to.pattern->lines.begin(), to.pattern->lines.end(), heard))
      return;
    to.pattern = measure::measure_channel_pattern(x, rate_, place(part));
  }

  void add_pulses(const std::vector<double>& x, const TrackPart& part,
                  const signal::PolarityPulses& pulses, judge::ChannelMeasurements& to) const {
    if (to.pulses && to.pulses->stands_out(0) && to.pulses->stands_out(1)) return;
    to.pulses = measure::measure_polarity(x, rate_, pulses, place(part));
  }

  void add_sweep(const std::vector<double>& x, const TrackPart& part, const signal::LogSweep& sweep,
                 judge::ChannelMeasurements& to) const {
    if (to.sweep && !to.sweep->response.points.empty()) return;
    const measure::SweepPlace at{part.start(), place(part).clock_ratio, clock_ratio_.has_value()};
    to.sweep = judge::SweepReading{measure::measure_sweep(x, rate_, sweep, at), sweep.level};
  }

  void add_stepped(const std::vector<double>& x, const TrackPart& part,
                   const signal::SteppedSine& tones, judge::ChannelMeasurements& to) const {
    if (to.stepped) return;
    const measure::PartPlace at{part.start(), clock_ratio().value_or(part.marker.clock_ratio)};
    const measure::RecordingOptions options{judge::steady_tone_band(tones), code_step_};
    to.stepped = judge::SteppedReading{measure::measure_stepped_sine(x, rate_, options, tones, at),
                                       tones, rate_, at.clock_ratio};
  }

  void add_silence(const std::vector<double>& x, const TrackPart& part,
                   const signal::Silence& silence, judge::ChannelMeasurements& to) const {
    if (to.silence) return;
    constexpr Seconds edge{0.1};
    to.silence = measure::measure_silence(
        measure::stretch_of(x, rate_, place(part), edge, silence.length - edge), rate_);
  }

  const std::vector<TrackPart>& parts_;
  Hertz rate_;
  std::optional<double> code_step_;
  std::optional<double> clock_ratio_, tones_clock_ratio_;
};

bool at_full_scale(const std::vector<TrackPart>& parts, std::size_t channel, double highest) {
  return std::any_of(parts.begin(), parts.end(), [&](const TrackPart& part) {
    const auto& x = part.samples[channel];
    return std::any_of(x.begin(), x.end(), [&](double v) { return std::abs(v) >= highest; });
  });
}

// A channel that no marker tells about, and that is silent as a whole.
void measure_silent_channel(const measure::FrameFigures& figures, judge::ChannelMeasurements& to) {
  measure::PatternReading pattern;
  for (auto& line : pattern.lines) line.noise = figures.mean_square_ac();
  to.pattern = pattern;
}

void require_markers(const Scan& scanned, const std::filesystem::path& path) {
  if (!scanned.markers.empty()) return;
  for (const auto& figures : scanned.figures) {
    const double level_db = 10.0 * std::log10(2.0 * figures.mean_square_ac() + 1e-30);
    if (level_db < silent_file.value()) continue;
    throw Error("no verification track was recognised in the recording", path.string(),
                "record the track \"verify\" or \"verify-bass\" of `railtap tones` from its first "
                "warble on");
  }
}

const char* kind_of(const signal::Signal& announced) {
  constexpr std::array<const char*, 9> kinds{"sine",  "ladder",  "stepped",  "sweep",   "two-tone",
                                             "noise", "silence", "polarity", "channels"};
  return kinds[announced.index()];
}

report::VerifiedFile described(const Scan& scanned, const std::vector<TrackPart>& parts,
                               const std::vector<TrackPart>& used,
                               const std::filesystem::path& path) {
  report::VerifiedFile file;
  file.name = path.string();
  file.format = scanned.format;
  file.frames = scanned.frames;
  const double rate = scanned.format.rate.value();
  for (const TrackPart& part : parts) {
    const double length = signal::length_of(part.marker.announced).value();
    const bool is_one_used = std::any_of(used.begin(), used.end(), [&](const TrackPart& u) {
      return u.marker.start_frame == part.marker.start_frame;
    });
    file.parts.push_back(
        {kind_of(part.marker.announced), part.marker.band == MarkerBand::low ? "low" : "mid",
         Seconds(part.marker.signal_frame / rate),
         Seconds(part.marker.signal_frame / rate + length * part.marker.clock_ratio), part.whole,
         is_one_used});
  }
  return file;
}

}  // namespace

VerifyCapture measure_verification(const std::filesystem::path& path, int first_channel) {
  const Scan scanned = scan(path);
  require_finite(scanned, path);
  require_markers(scanned, path);
  std::vector<TrackPart> found;
  for (const FoundMarker& marker : merged(scanned.markers, scanned.format.rate))
    found.push_back(part_of(marker, scanned));
  std::vector<TrackPart> parts = wanted(found);
  read_parts(path, parts);
  const auto channels = static_cast<std::size_t>(scanned.format.channels);
  TrackPartMeter meter(parts, scanned.format);
  meter.find_clock(channels);
  VerifyCapture capture;
  capture.file = described(scanned, found, parts, path);
  if (meter.clock_ratio()) capture.file.clock_error = Percent(100.0 * (*meter.clock_ratio() - 1.0));
  capture.provenance = scanned.provenance;
  const double highest = 1.0 - scanned.format.code_step.value_or(0.0);
  for (std::size_t c = 0; c < channels; ++c) {
    judge::ChannelMeasurements measured;
    measured.channel = first_channel + static_cast<int>(c);
    measured.file = path.filename().string();
    if (parts.empty()) measure_silent_channel(scanned.figures[c], measured);
    meter.measure(c, measured);
    measured.at_full_scale = at_full_scale(parts, c, highest);
    capture.channels.push_back(std::move(measured));
  }
  return capture;
}

}  // namespace railtap::command
