// SPDX-License-Identifier: MIT
// A recording and a track, read side by side.
#include "measure/aligned_pair.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <utility>

#include "measure/kernels.hpp"

namespace railtap::measure {
namespace {

constexpr std::size_t places = 256;
constexpr double zero_crossings = 16.0;
constexpr double kaiser_beta = 9.0;
// Of half the lower rate; the window's transition band takes the rest.
constexpr double passband = 0.93;
constexpr std::size_t frames_at_once = 4096;

double sinc(double x) {
  return x == 0.0 ? 1.0 : std::sin(std::numbers::pi * x) / (std::numbers::pi * x);
}

// Weights of input samples floor(place) − half + 1 … floor(place) + half, for each place.
std::vector<double> weight_table(double cutoff, std::size_t half) {
  const std::size_t taps = 2 * half;
  std::vector<double> weights((places + 1) * taps);
  const double scale = 1.0 / std::cyl_bessel_i(0.0, kaiser_beta);
  for (std::size_t p = 0; p <= places; ++p) {
    for (std::size_t k = 0; k < taps; ++k) {
      const double distance = static_cast<double>(k) - static_cast<double>(half - 1) -
                              static_cast<double>(p) / static_cast<double>(places);
      const double share = distance / static_cast<double>(half);
      const double window =
          std::abs(share) < 1.0
              ? scale * std::cyl_bessel_i(0.0, kaiser_beta * std::sqrt(1.0 - share * share))
              : 0.0;
      weights[p * taps + k] = cutoff * sinc(cutoff * distance) * window;
    }
  }
  return weights;
}

RAILTAP_VECTORIZE double interpolate(const double* x, const double* low, const double* high,
                                     double share, std::size_t taps) {
  double sum_low = 0.0, sum_high = 0.0;
#pragma omp simd reduction(+ : sum_low, sum_high)
  for (std::size_t k = 0; k < taps; ++k) {
    sum_low += x[k] * low[k];
    sum_high += x[k] * high[k];
  }
  return sum_low + share * (sum_high - sum_low);
}

std::size_t second_of(const FrameStream& stream, PlayedSide side) {
  return side == PlayedSide::left || stream.channels < 2 ? 0 : 1;
}

std::size_t first_of(const FrameStream& stream, PlayedSide side) {
  return side == PlayedSide::right && stream.channels > 1 ? 1 : 0;
}

}  // namespace

ChannelReader::ChannelReader(FrameStream stream, std::size_t channel)
    : stream_(std::move(stream)), first_(channel), second_(channel) {}

ChannelReader::ChannelReader(FrameStream stream, PlayedSide side)
    : stream_(std::move(stream)),
      first_(first_of(stream_, side)),
      second_(second_of(stream_, side)) {}

std::size_t ChannelReader::read(std::span<double> samples) {
  const auto channels = static_cast<std::size_t>(stream_.channels);
  std::size_t done = 0;
  while (done < samples.size()) {
    frames_.resize(std::min(frames_at_once, samples.size() - done) * channels);
    const std::size_t got = stream_.read(frames_);
    if (got == 0) break;
    for (std::size_t n = 0; n < got; ++n) {
      const double* frame = frames_.data() + n * channels;
      samples[done + n] = 0.5 * (frame[first_] + frame[second_]);
    }
    done += got;
  }
  std::fill(samples.begin() + static_cast<std::ptrdiff_t>(done), samples.end(), 0.0);
  return done;
}

ScaledReader::ScaledReader(ChannelReader reader, double start, double step)
    : reader_(std::move(reader)), start_(start), step_(step) {
  const double cutoff = passband * std::min(1.0, 1.0 / step);
  half_ = static_cast<std::size_t>(std::ceil(zero_crossings / cutoff));
  weights_ = weight_table(cutoff, half_);
  // Silence before the start, so that the first outputs have something to their left.
  first_ = -2 * static_cast<std::int64_t>(half_);
  buffer_.assign(2 * half_, 0.0);
}

// Reads on until the buffer holds input sample `last`.
void ScaledReader::fill(std::int64_t last) {
  while (first_ + static_cast<std::int64_t>(buffer_.size()) <= last) {
    const std::size_t old = buffer_.size();
    buffer_.resize(old + frames_at_once);
    const std::int64_t place = first_ + static_cast<std::int64_t>(old);
    const std::size_t got = reader_.read(std::span(buffer_).subspan(old));
    if (got < frames_at_once && end_ < 0) end_ = place + static_cast<std::int64_t>(got);
    // What lies well before is not needed again.
    const std::int64_t keep_from = last - static_cast<std::int64_t>(2 * frames_at_once + 2 * half_);
    const std::int64_t drop =
        std::clamp<std::int64_t>(keep_from - first_, 0, static_cast<std::int64_t>(old));
    buffer_.erase(buffer_.begin(), buffer_.begin() + static_cast<std::ptrdiff_t>(drop));
    first_ += drop;
  }
}

void ScaledReader::read(std::span<double> samples) {
  const auto half = static_cast<std::int64_t>(half_);
  const std::size_t taps = 2 * half_;
  double place = 0.0;
  for (double& sample : samples) {
    place = start_ + static_cast<double>(next_++) * step_;
    const auto whole = static_cast<std::int64_t>(std::floor(place));
    if (whole < half - 1 + first_ || (end_ >= 0 && whole > end_ + half)) {
      sample = 0.0;
      continue;
    }
    fill(whole + half);
    const double position = (place - static_cast<double>(whole)) * static_cast<double>(places);
    const auto p = std::min(static_cast<std::size_t>(position), places - 1);
    const double* x = buffer_.data() + (whole - half + 1 - first_);
    sample = interpolate(x, &weights_[p * taps], &weights_[(p + 1) * taps],
                         position - static_cast<double>(p), taps);
  }
  inside_ = place >= 0.0 && (end_ < 0 || place < static_cast<double>(end_));
}

AlignedPair::AlignedPair(const OpenStream& recording, std::size_t channel, const OpenStream& track,
                         const TrackPlace& place, std::size_t ahead)
    : recording_(recording(), channel),
      track_(ChannelReader(track(), place.side),
             place.start + static_cast<double>(ahead) * place.step, place.step),
      recorded_(block),
      played_(block) {}

bool AlignedPair::next() {
  count_ = recording_.read(recorded_);
  if (count_ == 0) return false;
  track_.read(std::span(played_).first(count_));
  inside_ = track_.inside();
  return true;
}

}  // namespace railtap::measure
