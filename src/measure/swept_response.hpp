// SPDX-License-Identifier: MIT
// The response of a chain from a recorded sweep: its impulse response by division of spectra, and
// the corner of its coupling.
#pragma once

#include <complex>
#include <cstddef>
#include <memory>
#include <optional>
#include <span>
#include <vector>

#include "signal/tone.hpp"
#include "units/quantity.hpp"

namespace railtap::measure {

// A recorded sweep turned into an impulse response, by division of spectra.

/// An impulse response as an analytic signal: its spectrum has positive frequencies only, so its
/// modulus is the envelope. It is circular: what came before time 0 lies at the end. A sample of
/// the spectrum at f, Σ h(n)·e^(−j2πfn/rate), is the recorded amplitude over the played one.
struct ImpulseResponse {
  std::vector<std::complex<double>> samples;

  /// Where the sample of a place is that may be negative.
  [[nodiscard]] std::size_t index(std::ptrdiff_t place) const {
    const auto length = static_cast<std::ptrdiff_t>(samples.size());
    const std::ptrdiff_t inside = place % length;
    return static_cast<std::size_t>(inside < 0 ? inside + length : inside);
  }
  [[nodiscard]] const std::complex<double>& at(std::ptrdiff_t place) const {
    return samples[index(place)];
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

// The response of a chain from a recorded sweep, and the corner of its coupling.

/// The response at one frequency, in the recording's clock.
struct ResponsePoint {
  Hertz frequency{0.0};
  Decibels magnitude{0.0};    ///< recorded level over the level in the file that was played
  double phase_deg = 0.0;     ///< with the main arrival's delay taken out, ±180
  Decibels uncertainty{0.0};  ///< standard uncertainty by the noise around it
};

/// One harmonic while the sweep passes a frequency.
struct SweptHarmonic {
  int order = 2;
  Hertz frequency{0.0};  ///< of the fundamental
  Decibels level{0.0};   ///< re the fundamental
  bool above_noise = false;
};

/// What one channel makes of a sweep. Without points, the sweep did not exceed the noise.
struct SweptResponse {
  std::vector<ResponsePoint> points;     ///< 24 per octave, those above the noise
  std::vector<SweptHarmonic> harmonics;  ///< orders 2 … 5, 3 per octave, within the sweep's band
  double start_frame = 0.0;              ///< where the sweep's main arrival began, in samples
  double clock_ratio = 1.0;              ///< recorded duration over the nominal one, found
};

/// Where in the recording the sweep is.
struct SweepPlace {
  double start_frame = 0.0;     ///< expected first sample; right within 0.1 s
  double clock_ratio = 1.0;     ///< expected; right within 0.005
  bool clock_is_known = false;  ///< true takes the ratio as exact: one clock plays and records, or
                                ///< a long tone gave it
};

/// Measures a sweep's response.
///
/// Deconvolution (measure/swept_response.hpp) puts the linear response, each harmonic and the noise
/// at times of their own. The clock ratio is refined until the octaves arrive together: a wrong one
/// disperses the response, which changes no magnitude. Then each frequency is read through a window
/// of its own, from 8 cycles before to 32 cycles after the arrival (7 and 16 where noise would
/// count more), so noise is averaged over the same share of an octave everywhere. The same windows,
/// later by several of their lengths, hold nothing but noise and give the uncertainty.
///
/// What it does not distinguish: whatever else rings at a frequency within its 32 cycles.
/// \param samples full scale ±1, finite; may hold more than the sweep, but all of it
/// \returns no points where the sweep does not exceed the noise
/// Accuracy: 0.02 dB where the uncertainty is small, but for the last third of an octave at either
/// end of the sweep, 0.1 dB there.
[[nodiscard]] SweptResponse measure_sweep(std::span<const double> samples, Hertz rate,
                                          const signal::LogSweep& sweep, const SweepPlace& place);

/// Fits a high-pass of first order to a response: the corner whose loss,
/// 10·log10(1 + (corner/f)²), explains best what is missing below 200 Hz against 500 Hz to 2 kHz.
///
/// Points that miss up to 1 dB decide: there two corners in series look like one, and there tones
/// are measured. Detects a loss of 0.03 dB and more at the lowest usable point.
/// \param low where the sweep began; points within a third of an octave of it are not used
/// \returns none where nothing is missing, the response has no such shape, or does not reach there
[[nodiscard]] std::optional<Hertz> coupling_corner(std::span<const ResponsePoint> response,
                                                   Hertz low);

}  // namespace railtap::measure
