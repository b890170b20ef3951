// SPDX-License-Identifier: MIT
// Faults of the last seconds.
#include "live/recent_faults.hpp"

#include "judge/cause.hpp"

namespace railtap::live {
namespace {

// A hand that turns a control to and fro turns back less often in one stretch (common practice).
constexpr int least_turns = 4;

bool worth_telling(const judge::Cause& cause, const measure::ChannelRecording& recording) {
  using judge::CauseKind;
  switch (cause.kind) {
    case CauseKind::gaps:
    case CauseKind::clicks:
    case CauseKind::missing_samples:
      return true;
    case CauseKind::level_pumping:
      return recording.moving.frames == 0 || recording.moving.turns >= least_turns;
    default:
      return false;
  }
}

}  // namespace

RecentFaults::RecentFaults(Hertz rate, const judge::Limits& limits)
    : rate_(rate), limits_(limits), meter_(rate, {limits.band, std::nullopt}) {}

bool RecentFaults::add(const double* first, std::size_t stride, std::size_t count, bool steady) {
  meter_.add(first, stride, count);
  frames_ += static_cast<std::int64_t>(count);
  const Seconds length(static_cast<double>(frames_) / rate_.value());
  if (length < shortest || (length < longest && !steady)) return false;
  end_stretch();
  return true;
}

void RecentFaults::end_stretch() {
  measure::ChannelRecording recording = meter_.finish();
  // Times from the start of the stream, for the sentence.
  for (measure::Disturbance& d : recording.disturbances.listed) d.first_frame += start_;
  recording.moving.first_frame += start_;
  recording.moving.end_frame += start_;
  const auto found = judge::judge_channel(1, recording, rate_, limits_).findings.cause;
  cause_ = found && worth_telling(*found, recording) ? found : std::nullopt;
  begin_stretch();
}

void RecentFaults::begin_stretch() {
  meter_ = measure::ChannelMeter(rate_, {limits_.band, std::nullopt});
  start_ += frames_;
  frames_ = 0;
}

void RecentFaults::reset() {
  begin_stretch();
  cause_.reset();
}

}  // namespace railtap::live
