// SPDX-License-Identifier: MIT
// What breaks a steady tone off for so long that its level shows it, and lets it go on as before.
#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "measure/disturbance.hpp"
#include "units/quantity.hpp"

namespace railtap::measure {

/// A steady stretch with a tone, as far as it matters here.
struct SteadyTone {
  std::int64_t first_frame = 0, end_frame = 0;
  Hertz frequency{0.0};
  double level_db = 0.0;  ///< mean square of the fundamental
  double peak = 0.0;      ///< half of its range
};

/// Watches the frames of 0.1 s that ChannelMeter cuts. Samples are looked at only in frames that
/// break the level, in those of the first second before anything is steady, and while a tone is
/// gone, for half a second at most: what is gone for longer is a pause and no gap.
class InterruptionFinder {
 public:
  explicit InterruptionFinder(Hertz rate) : rate_(rate) {}

  /// The next frame. \param level_db of its mean square \param half_range of its samples \param
  /// steady it continues a steady tone \param usable its samples are finite
  void add(std::span<const double> frame, double level_db, double half_range, bool steady,
           bool usable);

  /// What lies between the last steady tone and this one, where both are the same tone: frequency
  /// within 0.1 %, level within 0.05 dB, less than a second apart; before the first one, a gap in
  /// what had the same peak.
  [[nodiscard]] std::vector<Disturbance> between(const SteadyTone& tone);

  /// The gaps behind the last steady tone, where the same tone is back before the stream ends:
  /// peak within 2 %, frequency within 2 %.
  [[nodiscard]] std::vector<Disturbance> at_the_end() const;

 private:
  void open(double half_range);
  void scan(std::span<const double> frame, std::int64_t first);
  void note_return(std::span<const double> samples);

  Hertz rate_;
  std::int64_t position_ = 0;
  double tone_peak_ = 0.0;                           // of the last steady frame
  std::int64_t quiet_first_ = 0, quiet_length_ = 0;  // the run that reaches up to here
  std::int64_t quiet_tail_ = 0;  // of the last steady frame: a gap may begin there
  bool anything_steady_ = false;
  bool heard_ = false;          // a tone of that peak, so that it can break off
  double returned_peak_ = 0.0;  // of what came last behind a gap
  std::optional<Hertz> returned_hz_;
  double highest_since_ = 0.0;  // half range of the frames since the last steady stretch
  double lowest_since_db_ = 0.0;
  double peak_before_gap_ = 0.0;   // of the tone, at the last gap
  std::vector<Disturbance> gaps_;  // since the last steady stretch
  std::optional<SteadyTone> last_;
};

}  // namespace railtap::measure
