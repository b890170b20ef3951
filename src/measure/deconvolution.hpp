// SPDX-License-Identifier: MIT
// A recorded sweep turned into an impulse response, by division of spectra.
#pragma once

#include <complex>
#include <cstddef>
#include <memory>
#include <span>
#include <vector>

#include "signal/tone.hpp"
#include "units/quantity.hpp"

namespace railtap::measure {

/// An impulse response as an analytic signal: its spectrum has positive frequencies only, so its
/// modulus is the envelope. It is circular: what came before time 0 lies at the end. A sample of
/// the spectrum at f, Σ h(n)·e^(−j2πfn/rate), is the recorded amplitude over the played one.
struct ImpulseResponse {
  std::vector<std::complex<double>> samples;

  /// The sample at a place that may be negative.
  [[nodiscard]] const std::complex<double>& at(std::ptrdiff_t place) const {
    const auto length = static_cast<std::ptrdiff_t>(samples.size());
    const std::ptrdiff_t inside = place % length;
    return samples[static_cast<std::size_t>(inside < 0 ? inside + length : inside)];
  }
};

/// Divides the spectrum of a recording by that of the sweep that was played.
///
/// An exponential sweep puts the linear response at time 0 and the k-th harmonic L·ln k before it,
/// L = T/ln(f₂/f₁), apart from each other [A. Farina, "Simultaneous measurement of impulse response
/// and distortion with a swept-sine technique", AES 108th Convention (2000), paper 5093; A. Novak,
/// P. Lotton, L. Simon, "Synchronized swept-sine", J. Audio Eng. Soc. 63 (2015), pp. 786-798].
/// Division instead of Farina's reversed filter takes out the sweep's own ripple at its ends; it is
/// regularised, so nothing is raised outside the sweep's band. The recording's clock may differ
/// from the player's: the sweep is rendered at the recording's clock.
class Deconvolution {
 public:
  /// \param samples the recording from where the sweep is expected on, with a lead and a tail
  /// \param lead    samples in front of the place where the sweep is expected
  /// \param sweep   as it was played; its length > 0, its frequencies in order
  Deconvolution(std::span<const double> samples, std::size_t lead, Hertz rate,
                const signal::LogSweep& sweep);
  ~Deconvolution();
  Deconvolution(const Deconvolution&) = delete;
  Deconvolution& operator=(const Deconvolution&) = delete;

  /// Time 0 is where the sweep was expected. \param clock_ratio recorded duration over the nominal
  /// one, 0.9 … 1.1
  [[nodiscard]] ImpulseResponse response(double clock_ratio);

  /// What `response` would give for a recording that is the sweep itself: 1 within the band, and
  /// the regularisation's own shape at its edges.
  [[nodiscard]] ImpulseResponse reference(double clock_ratio);

 private:
  struct Plan;
  void render(double clock_ratio);
  [[nodiscard]] double regularisation(std::size_t bin) const;

  std::unique_ptr<Plan> plan_;
  Hertz rate_;
  signal::LogSweep sweep_;
  std::size_t lead_;
  double rendered_ratio_ = 0.0;                          // none yet
  std::vector<std::complex<double>> recorded_, played_;  // spectra, bins 0 … length/2
};

}  // namespace railtap::measure
