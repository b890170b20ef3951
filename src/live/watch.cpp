// SPDX-License-Identifier: MIT
// The channels of a watch, and the loop that prints them line by line.
#include "live/watch.hpp"

#include <algorithm>
#include <cmath>
#include <ostream>

#include "files/interrupt.hpp"
#include "live/watch_loop.hpp"
#include "units/error.hpp"

namespace railtap::live {
namespace {

constexpr Seconds read_ahead{1.0};
// What was read ahead does not know of a knob that was turned since.
constexpr Seconds read_ahead_of_knobs{0.03};

}  // namespace

Watch::Watch(const audio::StreamFormat& format, const judge::Limits& limits, bool device)
    : rate_(format.rate.value()) {
  const WatchSettings settings{format.rate, limits, format.code_step, device};
  for (int channel = 1; channel <= format.channels; ++channel)
    channels_.emplace_back(channel, settings);
}

void Watch::add(std::span<const double> interleaved) {
  const std::size_t stride = channels_.size();
  const std::size_t frames = interleaved.size() / stride;
  if (frames == 0) return;
  for (std::size_t c = 0; c < stride; ++c) channels_[c].add(interleaved.data() + c, stride, frames);
  frames_ += static_cast<std::int64_t>(frames);
}

Seconds Watch::time() const {
  return Seconds(static_cast<double>(frames_) / rate_);
}

std::vector<ChannelReading> Watch::readings() const {
  std::vector<ChannelReading> readings;
  for (const ChannelWatch& channel : channels_) readings.push_back(channel.reading());
  return readings;
}

void Watch::reset() {
  for (ChannelWatch& channel : channels_) channel.reset();
}

Stream::Stream(WatchJob& job)
    : feed_(std::move(job.source), std::move(job.losses),
            job.knobs ? read_ahead_of_knobs : read_ahead),
      watch_(feed_.format(), job.limits, job.device),
      rate_(feed_.format().rate.value()),
      channels_(static_cast<std::size_t>(feed_.format().channels)),
      paced_(job.paced),
      start_(std::chrono::steady_clock::now()) {
  if (job.sound) guide_ = std::make_unique<SoundGuide>(*job.sound);
  if (job.length) most_ = std::llround(job.length->value() * rate_);
}

std::int64_t Stream::due(std::int64_t most) const {
  if (most_) most = std::min(most, *most_ - frames_);
  if (!paced_) return most;
  const std::chrono::duration<double> passed = std::chrono::steady_clock::now() - start_;
  const auto ready = static_cast<std::int64_t>(passed.count() * rate_) - frames_;
  // A few samples at a time would keep the processor busy for nothing.
  const auto worth_it = std::min(most, static_cast<std::int64_t>(pause_s * rate_));
  return ready < worth_it ? 0 : std::min(most, ready);
}

bool Stream::advance(std::int64_t most, Seconds wait) {
  const std::int64_t count = ended() ? 0 : due(most);
  if (count <= 0) {
    std::this_thread::sleep_for(std::chrono::duration<double>(std::min(wait.value(), pause_s)));
    return false;
  }
  const std::vector<double> samples = feed_.take(static_cast<std::size_t>(count), wait);
  watch_.add(samples);
  frames_ += static_cast<std::int64_t>(samples.size() / channels_);
  return !samples.empty();
}

bool Stream::ended() const {
  return feed_.ended() || (most_ && frames_ >= *most_);
}

void Stream::sound(const WatchView& view) {
  if (!guide_ || view.readings.empty()) return;
  const std::size_t focus = std::min(view.focus, view.readings.size() - 1);
  guide_->set(ended() ? GuideTone{} : guide_tone(view.readings[focus], view.target));
}

void Stream::fill(WatchView& view) const {
  view.rate = feed_.format().rate;
  view.time = watch_.time();
  view.ended = ended();
  view.places_with_losses = feed_.losses();
  view.readings = watch_.readings();
}

WatchView view_of(const WatchJob& job) {
  WatchView view;
  view.source = job.name;
  view.volts_per_full_scale = job.limits.volts_per_full_scale;
  view.target = job.target;
  view.limit = job.limits.thdn;
  view.interface = job.interface;
  return view;
}

bool watch_in_lines(WatchJob job, LineKind kind, Seconds every, std::ostream& out) {
  constexpr Seconds patience{0.05};
  Stream stream(job);
  WatchView view = view_of(job);
  const auto step = static_cast<std::int64_t>(std::llround(every.value() * stream.rate()));
  std::int64_t next = step;
  while (!stream.ended() && !files::interrupted()) {
    stream.advance(next - stream.frames(), patience);
    if (job.sound) {
      stream.fill(view);
      stream.sound(view);
    }
    if (stream.frames() < next) continue;
    next += step;
    stream.fill(view);
    out << (kind == LineKind::json ? json_line(view) : plain_line(view)) << std::endl;
    if (!out) throw Error("the lines can't be written", "standard output", "check where they go");
  }
  stream.fill(view);
  return within_limits(view);
}

}  // namespace railtap::live
