// SPDX-License-Identifier: MIT
// One channel measured while it plays: its level at once, its distortion a little later, and what a
// block of 0.2 s cannot show: a level that pumps, gaps, clicks, missing samples.
#pragma once

#include <cstddef>
#include <cstdint>
#include <deque>
#include <optional>
#include <span>
#include <vector>

#include "audio/stream.hpp"
#include "judge/analysis.hpp"
#include "measure/folded_cycle.hpp"
#include "measure/frame.hpp"
#include "measure/recording.hpp"
#include "measure/tone.hpp"
#include "units/quantity.hpp"

namespace railtap::live {

// What a block of 0.2 s cannot show: a level that pumps, gaps, clicks, missing samples.

/// Measures and judges the last seconds of one channel as `analyze` does a recording, again and
/// again.
///
/// A stretch ends after 3 s at the next steady moment, so that no gap is cut in two, or after 5 s.
/// Gaps and clicks are counted on from stretch to stretch, until one has none.
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

  /// Ends the stretch at hand with the stream; what was found before stays, if nothing is found.
  void finish();

  /// A stretch holds samples.
  [[nodiscard]] bool has_begun() const { return frames_ > 0; }

  /// Forgets what was found, and begins a new stretch.
  void reset();

 private:
  void end_stretch();
  void begin_stretch();
  void count_on(measure::FoundDisturbances& found);

  Hertz rate_;
  judge::Limits limits_;
  measure::ChannelMeter meter_;
  std::int64_t start_ = 0, frames_ = 0;  // of the stretch at hand
  std::int64_t repeated_ = 0;            // frames before it that it was given again
  std::vector<double> latest_;           // samples
  measure::FoundDisturbances
      counted_;  // in this stretch and those before it, all of which had some
  std::optional<judge::Cause> cause_;
};

// One channel measured while it plays: its level at once, its distortion a little later.

/// The highest level that was measured as clean.
struct HighestClean {
  Seconds at{0.0};  ///< in the stream
  Dbfs level{0.0};
  Percent thdn{0.0};
};

/// A piece of the history: the loudest moment of it, and the worst verdict.
struct HistoryPoint {
  std::optional<Dbfs> level;              ///< none: nothing but silence
  std::optional<judge::Verdict> verdict;  ///< none: nothing was steady
};

/// What a channel reads now.
struct ChannelReading {
  int channel = 1;            ///< from 1
  std::optional<Dbfs> level;  ///< RMS; of the last 50 ms while it moves, of the last block when not
  bool steady = false;        ///< the level stood still over the last block
  std::optional<judge::Findings> findings;  ///< of the last block; none where the level jumped
  std::optional<judge::Cause> lasting;      ///< of the last seconds, see RecentFaults
  std::vector<measure::FoldedPoint> cycle;  ///< of the last steady tone
  std::optional<HighestClean> highest_clean;
  std::deque<HistoryPoint> history;  ///< the last minute, newest last
};

/// How a channel is measured.
struct WatchSettings {
  Hertz rate{48000.0};
  judge::Limits limits;
  /// Distance of two codes in full scales; none for float and lossy files.
  std::optional<double> code_step;
  /// The samples come from a converter of unknown bits: the step is found from them.
  bool find_code_step = false;
};

/// Measures one channel as it goes.
///
/// Level: windows of 50 ms with a raised-cosine weight, every 25 ms, so a step is in the figure 75
/// ms after it at the latest. Steady within 0.05 dB from 40 Hz up. Distortion, flat tops, verdict:
/// blocks of 0.2 s, one after the other, as `analyze` judges them. Where the level moved by 0.15 to
/// 2.4 dB over a block, the tone is measured with a moving level, as it is in the middle of the
/// block; where it moved by more, or jumped, nothing is said: it would read as distortion.
class ChannelWatch {
 public:
  static constexpr Seconds level_window{0.05};
  static constexpr Seconds level_hop{0.025};
  static constexpr Seconds block{0.2};
  static constexpr Seconds history_step{0.5};
  static constexpr Seconds history_length{60.0};

  ChannelWatch(int channel, const WatchSettings& settings);

  /// \param first the channel's first sample; \param stride distance of its samples; \param count
  /// how many
  void add(const double* first, std::size_t stride, std::size_t count);

  [[nodiscard]] const ChannelReading& reading() const { return reading_; }

  /// Clears the highest clean reading and the history.
  void reset();

  /// The stream has ended. \returns whether its last seconds say anything that was not told
  bool finish();

 private:
  void take_level();
  void keep_course(measure::Segment& segment);
  void look_for_faults(const double* first, std::size_t stride, std::size_t count);
  void take_block();
  void take_turning_block();
  [[nodiscard]] double spread_db() const;
  enum class Level { steady, moving };
  [[nodiscard]] measure::ChannelRecording record_block(Level level);
  void fold(const measure::BlockMeasurement& tone);
  void keep_clean(const judge::Findings& findings);
  void add_history(std::optional<Dbfs> level, std::optional<judge::Verdict> verdict);
  [[nodiscard]] std::size_t frames(Seconds length) const;

  WatchSettings settings_;
  std::size_t hop_, window_, block_;  // frames
  measure::FrameLevel level_meter_;
  measure::BlockMeter meter_;
  measure::CycleFold fold_;
  RecentFaults faults_;
  std::vector<double> recent_;      // the last block and what came since, newest last
  std::size_t since_level_ = 0;     // frames since the last level
  std::size_t since_block_ = 0;     // frames since the last block
  std::int64_t position_ = 0;       // frames in all
  std::int64_t history_start_ = 0;  // of the newest point, frames
  std::vector<double> levels_db_;   // of the block being gathered
  std::optional<Hertz> near_;
  measure::LineCourse course_;
  judge::WaveformMemory waveform_;
  ChannelReading reading_;
};

}  // namespace railtap::live
