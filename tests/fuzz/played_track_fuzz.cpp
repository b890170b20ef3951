// SPDX-License-Identifier: MIT
// Fuzzes `onset`, `verify` and `loopback` behind the reading of files, which raw bytes do not
// reach: bytes choose a track with its markers, what an odd system does to it, and where the
// recording has holes or ends. Each command must measure and judge it to a valid document, or say
// an Error.
#include <fuzzer/FuzzedDataProvider.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdlib>
#include <limits>
#include <nlohmann/json.hpp>
#include <random>
#include <vector>

#include "command/stepped.hpp"
#include "command/verify_capture.hpp"
#include "fuzz/fuzzed.hpp"
#include "judge/loopback.hpp"
#include "report/onset.hpp"
#include "report/verification.hpp"
#include "signal/generator.hpp"

namespace {

using namespace railtap;

// Longer ones find nothing that shorter ones do not, and take seconds.
constexpr std::size_t most_frames = 150'000;

// Low rates are cheap. 1 kHz is the lowest that is read.
Hertz rate_from(FuzzedDataProvider& bytes) {
  constexpr std::array rates{4000, 2000, 8000, 1000, 3000, 11025, 44100};
  return Hertz(bytes.PickValueInArray(rates));
}

Hertz frequency_from(FuzzedDataProvider& bytes, Hertz rate) {
  const int highest = std::max(30, static_cast<int>(0.44 * rate.value()));
  return Hertz(bytes.ConsumeIntegralInRange(5, highest));
}

Dbfs level_from(FuzzedDataProvider& bytes) {
  return Dbfs(bytes.ConsumeIntegralInRange(-90, 0));
}

Seconds tenths_from(FuzzedDataProvider& bytes, int most) {
  return Seconds(0.1 * bytes.ConsumeIntegralInRange(1, most));
}

signal::LevelLadder ladder_from(FuzzedDataProvider& bytes, Hertz rate) {
  const Decibels step(bytes.ConsumeIntegralInRange(1, 6));
  const int rises = bytes.ConsumeIntegralInRange(1, 14);
  const Dbfs top(-bytes.ConsumeIntegralInRange(0, 10));
  return {frequency_from(bytes, rate), top - step * rises, top, step, tenths_from(bytes, 6)};
}

signal::SteppedSine stepped_from(FuzzedDataProvider& bytes) {
  constexpr std::array<double, 12> third_octaves{20, 25,  31.5, 40,  50,  63,
                                                 80, 100, 125,  160, 200, 250};
  signal::SteppedSine tones{{}, level_from(bytes), tenths_from(bytes, 5)};
  const auto first = bytes.ConsumeIntegralInRange<std::size_t>(0, third_octaves.size() - 1);
  const auto last = bytes.ConsumeIntegralInRange<std::size_t>(first, third_octaves.size() - 1);
  for (std::size_t i = first; i <= last; ++i) tones.frequencies.emplace_back(third_octaves[i]);
  return tones;
}

// A marker says a sweep's end in steps of 100 Hz.
signal::LogSweep sweep_from(FuzzedDataProvider& bytes, Hertz rate) {
  const Hertz high(100.0 * std::max(1.0, std::floor(0.0044 * rate.value())));
  return {Hertz(bytes.ConsumeIntegralInRange(5, 80)), high, level_from(bytes),
          tenths_from(bytes, 30)};
}

signal::Signal signal_from(FuzzedDataProvider& bytes, Hertz rate) {
  switch (bytes.ConsumeIntegralInRange(0, 6)) {
    case 0:
      return signal::Sine{frequency_from(bytes, rate), level_from(bytes), tenths_from(bytes, 20)};
    case 1:
      return ladder_from(bytes, rate);
    case 2:
      return stepped_from(bytes);
    case 3:
      return sweep_from(bytes, rate);
    case 4:
      return signal::Silence{tenths_from(bytes, 10)};
    case 5:
      return signal::PolarityPulses{frequency_from(bytes, rate), level_from(bytes),
                                    tenths_from(bytes, 20)};
    default:
      return signal::ChannelPattern{level_from(bytes)};
  }
}

signal::Track track_from(FuzzedDataProvider& bytes, Hertz rate) {
  using signal::Channels;
  using signal::MarkerBand;
  signal::Track track;
  const int parts = bytes.ConsumeIntegralInRange(1, 4);
  for (int i = 0; i < parts; ++i) {
    constexpr std::array bands{MarkerBand::mid, MarkerBand::none, MarkerBand::low};
    constexpr std::array sides{Channels::both, Channels::left, Channels::right};
    track.parts.push_back(
        {signal_from(bytes, rate), bytes.PickValueInArray(sides), bytes.PickValueInArray(bands)});
  }
  return track;
}

/// Both channels of the track, one after the other in time, as played.
struct Stereo {
  std::vector<double> left, right;
};

Stereo rendered(const signal::Track& track, Hertz rate) {
  signal::Generator generator(track, rate, signal::highest_float_peak);
  Stereo played;
  std::vector<double> block(4096);
  while (const std::size_t frames = generator.render(block)) {
    if (played.left.size() > most_frames) throw Error("is too long", "track", "shorten it");
    for (std::size_t n = 0; n < frames; ++n) {
      played.left.push_back(block[2 * n]);
      played.right.push_back(block[2 * n + 1]);
    }
  }
  return played;
}

/// What one channel does to what it carries.
struct System {
  double left = 1.0, right = 0.0;  // gains
  double highest = 1.0, lowest = -1.0;
  double offset = 0.0, noise = 0.0;
};

System system_from(FuzzedDataProvider& bytes) {
  constexpr std::array gains{0.5, 1.0, 0.0, -1.0, 4.0, 0.001};
  const auto part = [&] { return 0.01 * bytes.ConsumeIntegralInRange(0, 100); };
  System system;
  system.left = bytes.PickValueInArray(gains);
  system.right = bytes.PickValueInArray(gains);
  system.highest = 1.0 - part();
  system.lowest = -1.0 + part();
  system.offset = 0.1 * part();
  system.noise = 0.1 * part() * part();
  return system;
}

std::vector<double> through(const System& system, const Stereo& played) {
  std::mt19937 random(1);
  std::uniform_real_distribution<double> noise(-system.noise, system.noise);
  std::vector<double> out(played.left.size());
  for (std::size_t n = 0; n < out.size(); ++n) {
    const double in = system.left * played.left[n] + system.right * played.right[n];
    const double limited =
        std::min(std::max(in, system.lowest), std::max(system.lowest, system.highest));
    out[n] = limited + system.offset + noise(random);
  }
  return out;
}

/// A recorder that runs at another rate, drops a stretch, starts late, ends early, or writes a
/// number that is none.
std::vector<double> recorded(std::vector<double> x, FuzzedDataProvider& bytes) {
  const auto place = [&] {
    return static_cast<std::ptrdiff_t>(bytes.ConsumeProbability<double>() *
                                       static_cast<double>(x.size()));
  };
  // Without further bytes, no deviation: 0, 1, -1, 2, -2 …
  const int drift = bytes.ConsumeIntegralInRange(0, 2000);
  const double ratio = 1.0 + 1e-5 * (drift % 2 == 0 ? -drift / 2 : (drift + 1) / 2);
  std::vector<double> y;
  for (double at = 0.0; at + 1.0 < static_cast<double>(x.size()); at += ratio) {
    const auto n = static_cast<std::size_t>(at);
    y.push_back(std::lerp(x[n], x[n + 1], at - std::floor(at)));
  }
  x = std::move(y);
  if (bytes.ConsumeBool()) x.resize(static_cast<std::size_t>(place()));
  if (bytes.ConsumeBool()) x.erase(x.begin(), x.begin() + place());
  if (bytes.ConsumeBool()) {
    const auto one = place(), other = place();
    const auto from = std::min(one, other), to = std::max(one, other);
    x.erase(x.begin() + from, x.begin() + to);
  }
  constexpr std::array odd{0.0, 1e30, 1e300, std::numeric_limits<double>::quiet_NaN(),
                           std::numeric_limits<double>::infinity()};
  if (bytes.ConsumeBool() && !x.empty()) {
    x[std::min(static_cast<std::size_t>(place()), x.size() - 1)] = bytes.PickValueInArray(odd);
  }
  return x;
}

template <class Number>
void put(std::vector<std::uint8_t>& file, Number number) {
  const auto* bytes = reinterpret_cast<const std::uint8_t*>(&number);
  file.insert(file.end(), bytes, bytes + sizeof number);
}

void put(std::vector<std::uint8_t>& file, const char* text) {
  file.insert(file.end(), text, text + 4);
}

/// A WAV of 64-bit floating point or 16-bit codes. [RIFF: Microsoft and IBM, Multimedia Programming
/// Interface and Data Specifications 1.0 (1991), "WAVE"; formats 1 and 3]
std::vector<std::uint8_t> wav(const std::vector<std::vector<double>>& channels, Hertz rate,
                              bool codes) {
  const std::size_t width = codes ? 2 : 8;
  const std::size_t frames = channels.front().size();
  const auto size = static_cast<std::uint32_t>(frames * channels.size() * width);
  const auto frame = static_cast<std::uint16_t>(channels.size() * width);
  const auto hertz = static_cast<std::uint32_t>(rate.value());
  std::vector<std::uint8_t> file;
  put(file, "RIFF");
  put(file, std::uint32_t{36} + size);
  put(file, "WAVE");
  put(file, "fmt ");
  put(file, std::uint32_t{16});
  put(file, static_cast<std::uint16_t>(codes ? 1 : 3));
  put(file, static_cast<std::uint16_t>(channels.size()));
  put(file, hertz);
  put(file, hertz * frame);
  put(file, frame);
  put(file, static_cast<std::uint16_t>(8 * width));
  put(file, "data");
  put(file, size);
  for (std::size_t n = 0; n < frames; ++n) {
    for (const auto& x : channels) {
      if (codes) {
        const double inside = std::isfinite(x[n]) ? std::clamp(x[n], -1.0, 1.0) : 0.0;
        put(file, static_cast<std::int16_t>(std::lround(32767.0 * inside)));
      } else {
        put(file, x[n]);
      }
    }
  }
  return file;
}

void require_document(const std::string& json, std::size_t channels) {
  if (nlohmann::json::parse(json).at("channels").size() != channels) std::abort();
}

void find_onset(const std::filesystem::path& path) {
  const command::Stepped stepped = command::measure_steps(path, judge::Limits{}, std::nullopt);
  report::OnsetDocument document;
  document.file_name = "recording";
  document.format = stepped.format;
  document.channels = command::judge_stepped(stepped, document.limits);
  for (const auto& channel : stepped.channels) document.found.push_back(channel.found);
  require_document(report::onset_json(document).line(), stepped.channels.size());
  (void)report::onset_text(document);
}

void verify(const std::filesystem::path& path) {
  command::VerifyCapture capture = command::measure_verification(path, 1);
  report::VerificationDocument document;
  document.files.push_back(capture.file);
  document.files.back().name = "recording";
  document.verification = judge::judge_verification(capture.channels, nullptr, document.limits);
  require_document(report::verification_json(document).line(), capture.channels.size());
  (void)report::verification_text(document);
}

void use(FuzzedDataProvider& bytes) {
  const Hertz rate = rate_from(bytes);
  const Stereo played = rendered(track_from(bytes, rate), rate);
  std::vector<std::vector<double>> channels(bytes.ConsumeIntegralInRange<std::size_t>(1, 3));
  for (auto& channel : channels) channel = through(system_from(bytes), played);
  const bool codes = bytes.ConsumeBool();
  // One recorder hears all channels: what it drops, it drops from each.
  const std::vector<std::uint8_t> recorder = bytes.ConsumeRemainingBytes<std::uint8_t>();
  for (auto& channel : channels) {
    FuzzedDataProvider same(recorder.data(), recorder.size());
    channel = recorded(std::move(channel), same);
  }
  if (channels.front().empty()) return;
  const fuzz::MemoryFile file(wav(channels, rate, codes));
  fuzz::expect_error_at_worst([&] { find_onset(file.path()); });
  fuzz::expect_error_at_worst([&] { verify(file.path()); });
  fuzz::expect_error_at_worst([&] {
    (void)judge::judge_loopback(channels.front(), rate,
                                codes ? std::optional(1.0 / 32768.0) : std::nullopt, "recording");
  });
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  FuzzedDataProvider bytes(data, size);
  fuzz::expect_error_at_worst([&] { use(bytes); });
  return 0;
}
