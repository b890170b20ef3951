// SPDX-License-Identifier: MIT
// Gaps, clicks and missing samples in a tone, short or so long that its level shows them: where
// they are, and the tone measured without them.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "measure/tone.hpp"
#include "measure/tone_track.hpp"
#include "units/quantity.hpp"

namespace railtap::measure {

// Gaps, clicks and missing samples in a tone: where they are, and the tone measured without them.

/// What interrupts a tone for a moment.
enum class DisturbanceKind {
  gap,    ///< the tone is gone
  click,  ///< something is added to it
  jump    ///< samples are missing or doubled: the tone goes on with another phase
};

/// One of them, by its place.
struct Disturbance {
  DisturbanceKind kind = DisturbanceKind::click;
  std::int64_t first_frame = 0;
  std::int64_t frames = 0;
};

/// All that were found in a channel: the first few by place, all by number.
struct FoundDisturbances {
  static constexpr std::size_t most_listed = 100;
  std::vector<Disturbance> listed;  ///< in order of time
  std::int64_t gaps = 0, clicks = 0, jumps = 0;

  [[nodiscard]] std::int64_t count() const { return gaps + clicks + jumps; }
  void add(const Disturbance& found);
};

/// A block, measured with what interrupts it taken out.
struct ExaminedBlock {
  BlockMeasurement block;
  std::vector<Disturbance> found;  ///< frames from the block's first
  /// It is interrupted so that no stretch of it can be measured: `block` does not hold.
  bool spoilt = false;
  double taken_out = 0.0;  ///< mean square over the whole block that the interruptions had put in
  Modulation modulation;   ///< of the tone; 0 where its residual is too small to look
};

/// Measures blocks like BlockMeter, and looks after those whose residual is more than harmonics.
///
/// *In time:* the residual's energy in cells of 1 ms. A cell that holds 16 times the median, and 6
/// times what its neighbours some whole cycles away hold (what recurs with the tone is part of it),
/// is disturbed. There, the samples are replaced by the fitted tone, and the block is measured
/// again.
/// *In phase:* where the tone's amplitude or phase (ToneTrack) breaks, the longest stretch without
/// a break is measured instead of the block. Does not: find what holds less than a third of the
/// residual's energy.
class BlockExaminer {
 public:
  /// \param rate samples per second, > 0
  explicit BlockExaminer(Hertz rate, Band band = {});

  [[nodiscard]] std::size_t shortest_block() const { return meter_.shortest_block(); }
  /// \param samples, near  as BlockMeter::measure
  [[nodiscard]] ExaminedBlock examine(std::span<const double> samples,
                                      std::optional<Hertz> near = {}) {
    return examine(samples, {0, samples.size()}, near);
  }
  /// The same for a block in a longer run of samples: what breaks near its ends is told by what
  /// lies before and behind it.
  [[nodiscard]] ExaminedBlock examine(std::span<const double> stream, SampleRange block,
                                      std::optional<Hertz> near = {});

 private:
  void follow(std::span<const double> stream, SampleRange range, const BlockMeasurement& block);
  [[nodiscard]] double look_in_time(const BlockMeasurement& block);
  void replace_flagged();
  bool mend_in_time(std::span<const double> samples, double before, ExaminedBlock& result);
  bool mend_in_phase(std::span<const double> samples, ExaminedBlock& result);
  void flag_cells(const BlockMeasurement& block);
  void note_breaks(std::span<const double> samples, double amplitude, ExaminedBlock& result) const;
  [[nodiscard]] double flagged_share() const;
  void collect(std::span<const double> samples, double amplitude, ExaminedBlock& result) const;
  [[nodiscard]] std::optional<Hertz> frequency_of(std::span<const double> samples,
                                                  const BlockMeasurement& block);

  Hertz rate_;
  std::size_t cell_;  // samples
  BlockMeter meter_;
  ToneTrack track_;                // of the block at hand, where it is followed
  std::vector<ToneBreak> breaks_;  // that touch it, by its own samples
  SampleRange even_;               // the longest between them
  std::vector<double> energy_;     // of the residual, a cell each
  std::vector<double> scratch_;
  std::vector<char> flagged_;  // cells
  std::vector<double> mended_;
};

/// The longest stretch in which a tone is gone: samples below a fiftieth of its peak for longer
/// than a sine of 20 Hz stays there, 0.32 ms (derived). \param peak of the tone \returns from the
/// first sample; length 0 where there is none
[[nodiscard]] SampleRange longest_quiet(std::span<const double> samples, double peak, Hertz rate);

// What breaks a steady tone off for so long that its level shows it, and lets it go on as before.

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
