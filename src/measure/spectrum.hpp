// SPDX-License-Identifier: MIT
// Power spectra of blocks of samples, A-weighting, and the spectrum thinned out for a picture.
#pragma once

#include <array>
#include <complex>
#include <cstddef>
#include <memory>
#include <span>
#include <vector>

#include "units/quantity.hpp"

namespace railtap::measure {

/// The measuring band, edges included. AES17-2015, 5.2.5: 20 Hz to 20 kHz.
struct Band {
  Hertz low{20.0};
  Hertz high{20000.0};
};

/// A Fourier transform of one length with a four-term Blackman-Harris window.
///
/// Coefficients 0.35875, 0.48829, 0.14128, 0.01168: highest sidelobe −92 dB
/// [Harris, Proc. IEEE 66 (1978), p. 65, and the scipy.signal.windows documentation].
/// The arrays are allocated once, in the constructor.
class Spectrum {
 public:
  /// \param length number of samples, even, > 0. Lengths from `good_length` are fast.
  explicit Spectrum(std::size_t length);
  ~Spectrum();
  Spectrum(Spectrum&&) noexcept;
  Spectrum& operator=(Spectrum&&) noexcept;

  /// The largest length <= available with no prime factor over 5, even; 0 where there is none.
  [[nodiscard]] static std::size_t good_length(std::size_t available);

  [[nodiscard]] std::size_t length() const { return windowed_.size(); }
  [[nodiscard]] std::size_t bins() const { return bins_.size(); }

  /// Transforms the first length() samples of a block. Bins 0 … length/2 stay until the next call.
  void transform(std::span<const double> samples);

  /// Mean square that a bin stands for; a sum over bins is the mean square of what they hold, for
  /// noise and tones alike (one-sided; bin 0 is doubled and is not used).
  [[nodiscard]] double mean_square(std::size_t bin) const { return mean_squares_[bin]; }

  /// The same of every bin.
  [[nodiscard]] std::span<const double> mean_squares() const { return mean_squares_; }

  /// The bin with the highest mean square from `first` to `last`, both included.
  [[nodiscard]] std::size_t strongest(std::size_t first, std::size_t last) const;

  /// Peak amplitude and phase at time 0 of a sinusoid at a fractional bin (4 <= bin <= bins()−5),
  /// by least squares over the main lobe. Other lines must be at least 8 bins away, or be taken out
  /// before.
  [[nodiscard]] std::complex<double> line(double bin) const;

  /// Position of a sinusoid near `bin` (from `interpolate_peak`; not nearer than 5 bins to either
  /// end), by least squares over the main lobe: where `line` explains the most. Within 1e-4 bin
  /// without noise, so that what `subtract_line` leaves is below the window's sidelobes.
  [[nodiscard]] double refine_line(double bin) const;

  /// Takes a sinusoid of this phasor out of the bins of its main lobe.
  void subtract_line(double bin, std::complex<double> phasor);

  /// Position, in fractional bins, of the local maximum at `bin`, from a parabola through the
  /// logarithms of three bins; within 0.02 bin for this window.
  [[nodiscard]] double interpolate_peak(std::size_t bin) const;

  /// Variance of `line` in white noise over that of an unwindowed least-squares fit: N·Σw⁴/(Σw²)².
  [[nodiscard]] double line_variance_factor() const { return line_variance_factor_; }

 private:
  /// What a line at a fractional bin and the main lobe around it have in common.
  struct Projection {
    std::complex<double> onto_line;
    double line_energy = 0.0;
  };
  // A four-term cosine window's main lobe ends 4 bins out.
  static constexpr std::ptrdiff_t main_lobe_bins = 4;
  using Kernels = std::array<std::complex<double>, 2 * main_lobe_bins + 1>;
  // What a line of amplitude 2 at `bin` leaves in the bins around `centre`.
  [[nodiscard]] static Kernels kernels(double bin, std::ptrdiff_t centre, double length);
  [[nodiscard]] Projection project(double bin, std::ptrdiff_t centre) const;

  struct Plan;  // what spectra of one length share: the window, and what the transform needs
  [[nodiscard]] static std::shared_ptr<const Plan> plan_of(std::size_t length);
  std::shared_ptr<const Plan> plan_;
  std::vector<double> windowed_;
  std::vector<std::complex<double>> bins_;
  std::vector<double> mean_squares_;
  double mean_square_scale_;
  double line_variance_factor_;
};

/// A-weighting at a frequency > 0, 0 dB at 1 kHz. Analogue design values, exact at every frequency,
/// so it is applied to spectra and not as a digital filter that would depart from it near half the
/// sampling rate. [IEC 61672-1:2013, annex E: pole frequencies and formula]
[[nodiscard]] Decibels a_weighting(Hertz frequency);
/// The same as a factor of power.
[[nodiscard]] double a_weight(Hertz frequency);

/// Points of a spectrum, frequency rising.
struct SpectrumCurve {
  Hertz resolution{0.0};             ///< width of the stretch whose power a point holds
  std::vector<double> frequency_hz;  ///< in the middle of that stretch
  std::vector<double> mean_square;   ///< power in it, full scales²
};

/// The spectrum of a block within a band. Each point is the power in a stretch of `resolution`, so
/// a sine reads its own level and noise reads what lies in the stretch; of the points that fall
/// into one 48th of an octave the highest is kept.
///
/// Window: the four-term Blackman-Harris window squared. Alone, its sidelobes at −92 dB would
/// exceed the noise of a good recording; squared, they are below −180 dB. \param samples full scale
/// ±1, finite; fewer than 1024 give an empty curve
[[nodiscard]] SpectrumCurve spectrum_curve(std::span<const double> samples, Hertz rate, Band band);

}  // namespace railtap::measure
