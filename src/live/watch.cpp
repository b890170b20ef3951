// SPDX-License-Identifier: MIT
// The channels of a watch, and the loop that prints them line by line.
#include "live/watch.hpp"

#include <algorithm>
#include <cmath>
#include <ostream>

#include "files/atomic_file.hpp"
#include "live/watch_control.hpp"
#include "live/watch_loop.hpp"
#include "live/watch_page.hpp"
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

bool Watch::finish() {
  bool more = false;
  for (ChannelWatch& channel : channels_) more = channel.finish() || more;
  return more;
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
  if (ended()) finish();
  return !samples.empty();
}

bool Stream::finish() {
  if (!finished_) more_at_end_ = watch_.finish();
  finished_ = true;
  return more_at_end_;
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
  view.names = job.channel_names;
  view.volts_per_full_scale = job.limits.volts_per_full_scale;
  view.target = job.target;
  view.limit = job.limits.thdn;
  view.interface = job.interface;
  view.page = job.page != nullptr;
  return view;
}

namespace {

// The lines are written every so often of the stream's own time, whatever the page shows meanwhile.
class LineWatch {
 public:
  LineWatch(WatchJob job, LineKind kind, Seconds every, std::ostream& out)
      : job_(std::move(job)),
        stream_(job_),
        view_(view_of(job_)),
        control_(job_, stream_),
        page_(job_.page.get()),
        kind_(kind),
        out_(out),
        step_(std::llround(every.value() * stream_.rate())),
        next_(step_) {}

  bool run() {
    constexpr Seconds patience{0.05};
    while (!done() && !files::interrupted()) {
      const bool any = stream_.advance(next_ - stream_.frames(), patience);
      if (job_.sound) {
        stream_.fill(view_);
        stream_.sound(view_);
      }
      show_page(any);
      if (stream_.frames() >= next_) write();
    }
    // What only the end shows has a line of its own, if no line was due there.
    if (stream_.ended() && stream_.finish() && !end_told_) write();
    view_.target = control_.view().target;
    stream_.fill(view_);
    return within_limits(view_);
  }

 private:
  // Where pages are all that shows the figures, the last ones stay.
  [[nodiscard]] bool done() const {
    const bool stays = kind_ == LineKind::none && !job_.length;
    return stream_.ended() && !stays;
  }

  void show_page(bool any) {
    if (!job_.page) return;
    changed_ = page_.take_presses(control_) || control_.forget_message() || any || changed_;
    if (stream_.ended() && !control_.view().ended) changed_ = true;
    if (!changed_ || !page_.is_due()) return;
    changed_ = false;
    control_.refresh();
    page_.show(control_.view(), job_.knobs.has_value());
  }

  void write() {
    next_ += step_;
    if (kind_ == LineKind::none) return;
    view_.target = control_.view().target;
    stream_.fill(view_);
    end_told_ = stream_.finished();
    out_ << (kind_ == LineKind::json ? json_line(view_) : plain_line(view_)) << std::endl;
    if (!out_) throw Error("the lines cannot be written", "standard output", "check where they go");
  }

  WatchJob job_;
  Stream stream_;
  WatchView view_;
  WatchControl control_;
  WatchPage page_;
  LineKind kind_;
  std::ostream& out_;
  std::int64_t step_, next_;
  bool changed_ = true;
  bool end_told_ = false;
};

}  // namespace

bool watch_in_lines(WatchJob job, LineKind kind, Seconds every, std::ostream& out) {
  return LineWatch(std::move(job), kind, every, out).run();
}

}  // namespace railtap::live
