// SPDX-License-Identifier: MIT
// An impulse response on a basis that grows coarser with time, fitted by least squares.
#include "measure/linear_chain.hpp"

#include <algorithm>
#include <cmath>

#include "measure/kernels.hpp"

namespace railtap::measure {
namespace {

constexpr std::size_t splines = 4;  // running means: a cubic spline
constexpr std::size_t steps[] = {1, 8, 64, 512};
// Lags of a level end where those of the next begin; the next starts two knots earlier, as the
// splines at the seam overlap.
constexpr std::size_t ends[] = {96, 512, 4096, ResponseBasis::longest};
// Of the diagonal: keeps what the track does not excite at zero.
constexpr double ridge = 1e-7;
constexpr std::size_t rows_at_once = 8;

// Eight at a time, so that the matrix, which is larger than the innermost cache, is passed over
// once for eight. \param x eight vectors, one behind the other
RAILTAP_VECTORIZE void add_outer(double* matrix, const double* x, std::size_t size) {
  double* row = matrix;
  for (std::size_t i = 0; i < size; ++i) {
    double a[rows_at_once];
    for (std::size_t r = 0; r < rows_at_once; ++r) a[r] = x[r * size + i];
#pragma omp simd
    for (std::size_t j = i; j < size; ++j) {
      double sum = row[j];
      for (std::size_t r = 0; r < rows_at_once; ++r) sum += a[r] * x[r * size + j];
      row[j] = sum;
    }
    row += size;
  }
}

RAILTAP_VECTORIZE double dot(const double* a, const double* b, std::size_t size) {
  double sum = 0.0;
#pragma omp simd reduction(+ : sum)
  for (std::size_t k = 0; k < size; ++k) sum += a[k] * b[k];
  return sum;
}

RAILTAP_VECTORIZE void add_scaled(double* sum, const double* x, double scale, std::size_t size) {
#pragma omp simd
  for (std::size_t n = 0; n < size; ++n) sum[n] += scale * x[n];
}

}  // namespace

ResponseBasis::ResponseBasis() {
  for (std::size_t lag = 0; lag < ends[0]; ++lag) taps_.push_back({0, lag});
  for (std::size_t level = 1; level < levels; ++level) {
    const std::size_t step = steps[level];
    // A spline's middle lies this far behind the newest sample that goes into it.
    const std::size_t middle = splines * (step - 1) / 2;
    for (std::size_t lag = ends[level - 1] - 2 * step; lag <= ends[level]; lag += step) {
      if (lag >= middle && lag - middle < longest) taps_.push_back({level, lag - middle});
    }
    smoothers_.push_back(
        {step, std::vector<double>(splines, 0.0), std::vector<double>(splines * step, 0.0), 0});
  }
  history_.assign(levels, std::vector<double>(longest, 0.0));
}

double ResponseBasis::Smoother::smooth(double sample) {
  double value = sample;
  for (std::size_t s = 0; s < splines; ++s) {
    double& oldest = past[s * step + next];
    sums[s] += value - oldest;
    oldest = value;
    value = sums[s] / static_cast<double>(step);
  }
  if (++next == step) next = 0;
  return value;
}

void ResponseBasis::push(std::span<const double> played) {
  for (auto& samples : history_) {
    samples.erase(samples.begin(), samples.end() - static_cast<std::ptrdiff_t>(longest));
    samples.reserve(longest + AlignedPair::block);
  }
  history_[0].insert(history_[0].end(), played.begin(), played.end());
  for (std::size_t level = 1; level < levels; ++level) {
    for (const double sample : played)
      history_[level].push_back(smoothers_[level - 1].smooth(sample));
  }
  count_ = played.size();
}

void ResponseBasis::at(std::size_t n, std::span<double> values) const {
  for (std::size_t k = 0; k < taps_.size(); ++k)
    values[k] = history_[taps_[k].level][longest + n - taps_[k].lag];
}

void ResponseBasis::predict(std::span<const double> coefficients, std::span<double> out) const {
  std::fill(out.begin(), out.end(), 0.0);
  for (std::size_t k = 0; k < taps_.size(); ++k) {
    add_scaled(out.data(), &history_[taps_[k].level][longest - taps_[k].lag], coefficients[k],
               count_);
  }
}

ResponseFit::ResponseFit(std::size_t size)
    : size_(size),
      matrix_(size * size, 0.0),
      waiting_(rows_at_once * size, 0.0),
      right_(size, 0.0) {}

void ResponseFit::add(std::span<const double> basis, double recorded) {
  double* place = &waiting_[static_cast<std::size_t>(samples_) % rows_at_once * size_];
  std::copy(basis.begin(), basis.end(), place);
  ++samples_;
  if (static_cast<std::size_t>(samples_) % rows_at_once == 0) {
    add_outer(matrix_.data(), waiting_.data(), size_);
    std::fill(waiting_.begin(), waiting_.end(), 0.0);
  }
  for (std::size_t k = 0; k < size_; ++k) right_[k] += recorded * basis[k];
  squares_ += recorded * recorded;
}

double ResponseFit::misfit(std::span<const double> coefficients) const {
  const double explained = dot(right_.data(), coefficients.data(), size_);
  return std::sqrt(std::max(0.0, squares_ - explained) / static_cast<double>(samples_));
}

double ResponseFit::residual(std::span<const double> coefficients) const {
  const double explained = dot(right_.data(), coefficients.data(), size_);
  if (!(explained > 0.0)) return 1.0;
  return std::sqrt(std::max(0.0, squares_ - explained) / explained);
}

// Cholesky: A = UᵀU.
std::vector<double> ResponseFit::solve() const {
  if (samples_ < static_cast<std::int64_t>(2 * size_)) return {};
  std::vector<double> u = matrix_;
  add_outer(u.data(), waiting_.data(), size_);
  double mean = 0.0;
  for (std::size_t k = 0; k < size_; ++k) mean += u[k * size_ + k] / static_cast<double>(size_);
  if (!(mean > 0.0)) return {};
  for (std::size_t i = 0; i < size_; ++i) {
    double* row = &u[i * size_];
    row[i] += ridge * (mean + row[i]);
    for (std::size_t k = 0; k < i; ++k) {
      const double factor = u[k * size_ + i];
      for (std::size_t j = i; j < size_; ++j) row[j] -= factor * u[k * size_ + j];
    }
    if (!(row[i] > 0.0)) return {};
    const double scale = 1.0 / std::sqrt(row[i]);
    for (std::size_t j = i; j < size_; ++j) row[j] *= scale;
  }
  std::vector<double> x = right_;
  for (std::size_t i = 0; i < size_; ++i) {
    for (std::size_t k = 0; k < i; ++k) x[i] -= u[k * size_ + i] * x[k];
    x[i] /= u[i * size_ + i];
  }
  for (std::size_t i = size_; i-- > 0;) {
    for (std::size_t k = i + 1; k < size_; ++k) x[i] -= u[i * size_ + k] * x[k];
    x[i] /= u[i * size_ + i];
  }
  return x;
}

}  // namespace railtap::measure
