// SPDX-License-Identifier: MIT
// What a block of 0.2 s cannot show: a level that pumps, gaps, clicks, missing samples.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>

#include "judge/analysis.hpp"
#include "measure/recording.hpp"
#include "units/quantity.hpp"

namespace railtap::live {

/// Measures and judges the last seconds of one channel as `analyze` does a recording, again and
/// again.
///
/// A stretch ends after 3 s at the next steady moment, so that no gap is cut in two, or after 5 s.
class RecentFaults {
 public:
  static constexpr Seconds shortest{3.0};
  static constexpr Seconds longest{5.0};

  RecentFaults(Hertz rate, const judge::Limits& limits);

  /// \param first the channel's first sample; \param stride distance of its samples; \param count
  /// how many \param steady the level stands still \returns whether a stretch ended
  bool add(const double* first, std::size_t stride, std::size_t count, bool steady);

  /// What was found in the last stretch that ended; none where nothing was, or what was found is
  /// told by the blocks. Times in it are from the start of the stream.
  [[nodiscard]] const std::optional<judge::Cause>& cause() const { return cause_; }

  /// A stretch holds samples.
  [[nodiscard]] bool has_begun() const { return frames_ > 0; }

  /// Forgets what was found, and begins a new stretch.
  void reset();

 private:
  void end_stretch();
  void begin_stretch();

  Hertz rate_;
  judge::Limits limits_;
  measure::ChannelMeter meter_;
  std::int64_t start_ = 0, frames_ = 0;  // of the stretch at hand
  std::optional<judge::Cause> cause_;
};

}  // namespace railtap::live
