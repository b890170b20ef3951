// SPDX-License-Identifier: MIT
// A whole recording measured as it streams by, at constant memory: cut into steady segments, each
// measured.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "measure/clipped_sine.hpp"
#include "measure/disturbance.hpp"
#include "measure/flat_runs.hpp"
#include "measure/folded_cycle.hpp"
#include "measure/frame.hpp"
#include "measure/moving_tone.hpp"
#include "measure/tone.hpp"
#include "units/quantity.hpp"

namespace railtap::measure {

/// Whether the strongest foreign line stays where it is from block to block: an alternator's
/// follows the engine.
class LineCourse {
 public:
  /// The next block. \param length of it
  void add(const BlockMeasurement& block, Seconds length);
  /// It moved by more than it is known to, from each of the last blocks to the next.
  [[nodiscard]] bool moves() const;
  [[nodiscard]] Hertz frequency() const { return last_.frequency; }  ///< in the last block

 private:
  InterferenceLine last_{Hertz(0.0), 0.0};
  int steps_ = 0;
  Hertz lowest_{0.0}, highest_{0.0};
};

/// A stretch of a recording whose level and distortion stay the same.
struct Segment {
  std::int64_t first_frame = 0;
  std::int64_t end_frame = 0;  ///< one past the last
  FrameFigures figures;        ///< of the measured interior, edges left out
  BlockMeasurement
      measurement;  ///< mean over the blocks; `series` is averaged by phase, so noise falls
  std::optional<ClippedSineFit> clip;  ///< flat-topping, for a tone
  std::optional<FoldReading> fold;     ///< the folded cycle of the last measured block, for a tone
  Agreement agreement = Agreement::cannot_tell;  ///< of `clip` and `fold`
  int blocks = 0;                                ///< blocks that went in
  double level_spread_db = 0.0;  ///< highest over lowest level of the fundamental among the blocks
  Modulation modulation;         ///< of the tone within the blocks, mean
  double taken_out = 0.0;  ///< mean square that interruptions had put in; not in `measurement`
  std::optional<Hertz> moving_line;  ///< the strongest foreign line, at the end, where it moves
};

/// What one channel of a recording holds.
struct ChannelRecording {
  FrameFigures figures;  ///< of every sample
  FullScaleRuns full_scale;
  FlatRuns flat;                   ///< runs at the highest and the lowest value, wherever they are
  std::int64_t steady_frames = 0;  ///< frames in segments, edges included
  std::vector<Segment> segments;   ///< in order of time; unsteady stretches are in none
  FoundDisturbances disturbances;  ///< gaps, clicks and jumps in tones
  MovingLevel moving;              ///< where a tone's level moved
  FollowedTone followed;           ///< a tone that did not stand still
  /// The longest stretch of whole frames of 0.1 s without a sample that is no number; all of it
  /// where nothing is damaged.
  std::int64_t sound_first = 0, sound_end = 0;
  std::optional<double> code_step;  ///< coarsest step of which all samples looked at are multiples
};

/// How a channel is measured: in which band, and how fine its numbers are.
struct RecordingOptions {
  Band band{};                      ///< of THD+N and noise: 20 Hz to 20 kHz
  std::optional<double> code_step;  ///< distance of two codes in full scales; none for float
  int always_measured = 4;  ///< so many blocks at a segment's head are measured in full, >= 1
};

/// Measures one channel of a stream.
///
/// The stream is cut into frames of 0.1 s. Frames of like level (0.08 dB for what looks like a
/// tone, else 0.7 dB) make a segment; its first and last frame may hold the step and are left out.
/// The interior is measured in blocks of 1 s. Every sample is screened; the full measurement is
/// made on the first blocks of a segment, then at doubling distances, and on every block whose
/// screen differs from that of the last measured one, so nothing short is missed and an hour costs
/// little more than reading it.
class ChannelMeter {
 public:
  ChannelMeter(Hertz rate, const RecordingOptions& options);

  /// \param first  the channel's first sample; \param stride distance of its samples; \param count
  /// how many
  void add(const double* first, std::size_t stride, std::size_t count);

  /// Begins another stream, with what working memory there is. After `finish`, or instead of it.
  void begin_again();

  /// Ends the stream. A recording under 0.5 s is measured as one block, if it is long enough for
  /// one.
  [[nodiscard]] ChannelRecording finish();

 private:
  // The segment that is being gathered.
  struct Open {
    Segment segment;
    bool whole = false;  // the first frame is in the first block, not in front of it
    double level_sum_db =
        0.0;  // of its first frames: the level that further frames are compared with
    int level_count = 0;
    std::optional<ToneScreen> reference;  // screen of the last block that was measured in full
    BlockMeasurement last;                // that block
    Modulation modulation;                // of that block
    double taken_out = 0.0;               // of that block
    LineCourse course;                    // over the blocks that were measured
    int next_detail = 0;  // number of the next block that is measured in full in any case
    double lowest_fundamental = 0.0;
    double highest_fundamental = 0.0;
  };

  [[nodiscard]] std::span<double> frame();  // the one being filled
  void take_frame();
  void note_sound(std::int64_t end);
  void follow(std::span<const double> frame, double level_db, bool tonal, double half_range);
  [[nodiscard]] bool like_segment(double level_db, bool tonal) const;
  void confirm_pending();
  void take_block(std::span<const double> stream, SampleRange range, const FrameFigures& figures);
  [[nodiscard]] std::int64_t block_start() const;
  void note_disturbances(std::span<const Disturbance> found);
  void note_border(std::span<const double> stream, SampleRange range);
  void fold(std::span<const double> samples, const BlockMeasurement& block);
  void merge(const BlockMeasurement& block, const FrameFigures& figures);
  void close_segment(std::int64_t end);
  void keep_segment(std::int64_t end);

  Hertz rate_;
  std::size_t frame_length_;
  std::size_t block_length_;
  RecordingOptions options_;
  FrameLevel frame_level_;
  BlockExaminer examiner_;
  ToneScreener screener_;
  CycleFold fold_;  // of the last block that was measured in full, if it is a tone
  ChannelRecording result_;
  Open open_;
  // In a row: the frame before; samples confirmed to lie inside the segment and not yet measured;
  // the last frame, not yet known to lie inside it; the frame being filled. So no sample has to be
  // moved on the way.
  std::vector<double> samples_;
  std::size_t confirmed_ = 0;
  bool have_pending_ = false;
  std::size_t frame_fill_ = 0;
  std::int64_t position_ = 0;  // of the frame being filled
  FrameFigures pending_figures_;
  FrameFigures confirmed_figures_;
  CodeStep code_step_;
  MovingLevelMeter moving_;
  ToneFollower follower_;
  double followed_db_ = 0.0;  // of the frame before
  int still_frames_ = 0;      // in a row whose level did not move
  InterruptionFinder interruptions_;
  std::int64_t last_disturbed_ = -1;  // sample; < 0: none yet
  std::int64_t sound_from_ = 0;       // where the stretch of finite samples at hand begins
  std::vector<double> head_;  // the first frames, in case the recording is no longer than that
};

/// All channels of an interleaved stream.
class RecordingMeter {
 public:
  RecordingMeter(Hertz rate, int channels, const RecordingOptions& options);
  /// \param interleaved whole frames, full scale ±1
  void add(std::span<const double> interleaved);
  [[nodiscard]] std::vector<ChannelRecording> finish();

 private:
  std::vector<ChannelMeter> channels_;
};

}  // namespace railtap::measure
