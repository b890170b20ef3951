// SPDX-License-Identifier: MIT
// A recording and the track that was played, read side by side: the track brought to the
// recording's clock.
#pragma once

#include <cstddef>
#include <cstdint>
#include <functional>
#include <span>
#include <vector>

#include "units/quantity.hpp"

namespace railtap::measure {

/// A stream of whole interleaved frames, read from its start; `read` returns 0 at the end.
struct FrameStream {
  Hertz rate{0.0};
  int channels = 1;
  std::function<std::size_t(std::span<double> interleaved)> read;
};

/// Opens the same stream once more, at its start.
using OpenStream = std::function<FrameStream()>;

/// Which part of a track with two sides a channel carries.
enum class PlayedSide { left, right, sum };

/// One channel of a stream, or the mean of its first two.
class ChannelReader {
 public:
  /// \param channel from 0
  ChannelReader(FrameStream stream, std::size_t channel);
  ChannelReader(FrameStream stream, PlayedSide side);
  /// Fills `samples` from its start; what is missing at the end is zero. \returns samples read
  std::size_t read(std::span<double> samples);

 private:
  FrameStream stream_;
  std::size_t first_, second_;
  std::vector<double> frames_;
};

/// One channel at another clock: sample m of the output is the input at start + m·step.
///
/// A windowed sinc, 16 zero crossings to each side, Kaiser window with β = 9 (stop band −90 dB)
/// [Oppenheim, Schafer: Discrete-Time Signal Processing, 2nd ed., eqs. 7.59 to 7.63], from a table
/// of 256 places between two samples with straight lines between them (error below −90 dB,
/// derived: (π/256)²/8). Where the step is above 1 the cutoff falls with it.
class ScaledReader {
 public:
  /// \param start input samples, may be negative: the input is silent before its start
  /// \param step  input samples per output sample, > 0
  ScaledReader(ChannelReader reader, double start, double step);
  /// Fills `samples`; before the start and after the end of the input they are zero.
  void read(std::span<double> samples);
  /// Whether the place of the last sample lies within the input.
  [[nodiscard]] bool inside() const { return inside_; }

 private:
  void fill(std::int64_t last);

  ChannelReader reader_;
  double start_, step_;
  std::size_t half_;             // taps to each side
  std::vector<double> weights_;  // places × taps
  std::vector<double> buffer_;   // input samples from `first_` on
  std::int64_t first_;
  std::int64_t end_ = -1;  // of the input, once it is known
  std::int64_t next_ = 0;  // output sample
  bool inside_ = false;
};

/// How the track lies on a recording: at recording sample n it is at start + n·step, in samples of
/// the track.
struct TrackPlace {
  PlayedSide side = PlayedSide::sum;
  double start = 0.0, step = 1.0;
};

/// Reads both, block by block.
class AlignedPair {
 public:
  /// \param ahead track samples, at the recording's rate, that the track is read ahead
  AlignedPair(const OpenStream& recording, std::size_t channel, const OpenStream& track,
              const TrackPlace& place, std::size_t ahead);
  static constexpr std::size_t block = 4096;
  /// \returns false at the end of the recording
  bool next();
  [[nodiscard]] std::span<const double> recorded() const {
    return std::span(recorded_).first(count_);
  }
  [[nodiscard]] std::span<const double> played() const { return std::span(played_).first(count_); }
  /// Whether the block lies within the track.
  [[nodiscard]] bool inside() const { return inside_; }

 private:
  ChannelReader recording_;
  ScaledReader track_;
  std::vector<double> recorded_, played_;
  std::size_t count_ = 0;
  bool inside_ = false;
};

}  // namespace railtap::measure
