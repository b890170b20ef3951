// SPDX-License-Identifier: MIT
// The linear part of a chain between a track and its recording, as an impulse response, and what it
// would have made of the track.
#pragma once

#include <cstddef>
#include <cstdint>
#include <functional>
#include <span>
#include <vector>

#include "measure/aligned_pair.hpp"

namespace railtap::measure {

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
