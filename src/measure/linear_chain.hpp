// SPDX-License-Identifier: MIT
// A recording and the track that was played, brought to one clock and read side by side; and the
// linear part of the chain between them, as an impulse response.
#pragma once

#include <cstddef>
#include <cstdint>
#include <functional>
#include <span>
#include <vector>

#include "units/quantity.hpp"

namespace railtap::measure {

// A recording and the track that was played, read side by side: the track brought to the
// recording's clock.

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
  /// Whether the place of the last sample lies within the input, 4096 samples before its end or
  /// more: what players and decoders make of a track's last samples differs.
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

// The linear part of a chain between a track and its recording, as an impulse response, and what it
// would have made of the track.

/// The track's recent past, as an impulse response needs it: the samples themselves for its first
/// 1.3 ms at 48 kHz, then samples smoothed over 8, 64 and 512, for what an ever later part of the
/// response can look like: tone controls and couplings ring and decay slowly.
///
/// The basis are cubic B-splines with knots ever further apart, made by four running means each
/// [M. Unser, "Splines", IEEE Signal Processing Magazine 16 (1999), no. 6, pp. 22-38].
class ResponseBasis {
 public:
  ResponseBasis();
  /// Functions in the basis.
  [[nodiscard]] std::size_t size() const { return taps_.size(); }
  /// Track samples that the response may lie before the recording's: read the track so far ahead.
  static constexpr std::size_t ahead = 32;
  /// Samples that a response is long.
  static constexpr std::size_t longest = 12288;
  /// Takes the next block of the track.
  void push(std::span<const double> played);
  /// The basis at a sample of the last block. \param values size() numbers
  void at(std::size_t n, std::span<double> values) const;
  /// The track at the time of a sample of the last block.
  [[nodiscard]] double delayed(std::size_t n) const { return history_[0][longest + n - ahead]; }
  /// The sum of coefficients times basis for each sample of the last block.
  void predict(std::span<const double> coefficients, std::span<double> out) const;

 private:
  struct Tap {
    std::size_t level, lag;
  };
  // Running means of one level.
  struct Smoother {
    std::size_t step = 1;
    std::vector<double> sums, past;
    std::size_t next = 0;
    double smooth(double sample);
  };
  static constexpr std::size_t levels = 4;
  std::vector<Tap> taps_;
  std::vector<Smoother> smoothers_;
  std::vector<std::vector<double>> history_;  // of each level: `longest` samples, then the block
  std::size_t count_ = 0;
};

/// Least squares for the response: collects samples of a recording and solves.
class ResponseFit {
 public:
  explicit ResponseFit(std::size_t size);
  /// \param basis  of one sample; \param recorded the sample
  void add(std::span<const double> basis, double recorded);
  /// The coefficients; empty where there were too few samples.
  [[nodiscard]] std::vector<double> solve() const;
  /// RMS of what these leave of the samples over that of what they explain.
  [[nodiscard]] double residual(std::span<const double> coefficients) const;
  /// RMS of what these leave, full scales.
  [[nodiscard]] double misfit(std::span<const double> coefficients) const;

 private:
  std::size_t size_;
  std::vector<double> matrix_;   // upper triangle, row by row
  std::vector<double> waiting_;  // rows that are not in it yet; zero beyond them
  std::vector<double> right_;
  double squares_ = 0.0;  // of the recorded samples
  std::int64_t samples_ = 0;
};

}  // namespace railtap::measure
