// SPDX-License-Identifier: MIT
// The filters and tone controls that a car's sound system can have on, and which of them a measured
// response shows.
#pragma once

#include <complex>
#include <optional>
#include <string>
#include <vector>

#include "measure/swept_response.hpp"
#include "units/quantity.hpp"

namespace railtap::judge {

/// What a filter does to the band; and how the corner of a high-pass or low-pass is shaped. The
/// other kinds have no family.
enum class FilterKind { high_pass, low_pass, peaking, low_shelf, high_shelf };
enum class FilterFamily { none, butterworth, linkwitz_riley };

/// One filter. What a kind does not have is 0.
struct Filter {
  FilterKind kind = FilterKind::high_pass;
  FilterFamily family = FilterFamily::none;  ///< of high-pass and low-pass
  int order = 0;  ///< 1 … 4 of high-pass and low-pass: 6 dB per octave each; 1 or 2 of shelves
  Hertz frequency{0.0};  ///< corner (−3 dB Butterworth, −6 dB Linkwitz-Riley), centre or middle
  Decibels gain{0.0};    ///< of peaking and shelves
  double q = 0.0;        ///< of peaking
};

/// A filter's response at a frequency > 0.
///
/// Butterworth: poles on the unit circle [S. Butterworth, Experimental Wireless 7 (1930), p. 536].
/// Linkwitz-Riley: a Butterworth of half the order, twice [S. Linkwitz, J. Audio Eng. Soc. 24
/// (1976), p. 2]. Peaking and second-order shelves: the analog prototypes of R. Bristow-Johnson's
/// "Cookbook formulae for audio equalizer biquad filter coefficients", shelves with Q = 1/√2.
/// First-order shelves: (s + g·ω)/(s + ω) at the bottom, (g·s + ω)/(s + ω) at the top.
[[nodiscard]] std::complex<double> response(const Filter& filter, Hertz frequency);

/// How far filters in a row turn a phase, radians, unwrapped filter by filter.
[[nodiscard]] double phase_turn(const std::vector<Filter>& filters, Hertz frequency);

/// "high-pass on at about 80 Hz, 12 dB/octave", "bass boost of +6.0 dB at 45 Hz".
[[nodiscard]] std::string in_words(const Filter& filter);

/// The same of all filters, with a boost at both ends called loudness.
[[nodiscard]] std::vector<std::string> in_words(const std::vector<Filter>& filters);

/// "high-pass", "low-pass", "peaking", "low-shelf", "high-shelf".
[[nodiscard]] const char* name(FilterKind kind);
/// "none", "butterworth", "linkwitz-riley".
[[nodiscard]] const char* name(FilterFamily family);

/// A response in words' terms.
struct ResponseFindings {
  Decibels level{0.0};           ///< recorded over played where no filter acts
  std::vector<Filter> filters;   ///< that change the band by 0.5 dB or more; strongest first
  std::vector<Filter> coupling;  ///< first-order high-passes under 12 Hz: capacitors, not switches
  Decibels misfit{0.0};  ///< largest departure of the points from the filters' sum, beyond noise
  Hertz misfit_at{0.0};
  /// Where the response has fallen 3 dB below `level`; none where it has not within the sweep.
  std::optional<Hertz> low_3db, high_3db;
  Decibels highest{0.0}, lowest{0.0};  ///< of the points re `level`, from low_3db to high_3db
};

/// Fits high-pass and low-pass (order 1 to 4 Butterworth, 2 and 4 Linkwitz-Riley), one peaking
/// equaliser and a shelf at each end to the magnitudes, by damped least squares weighted with the
/// points' uncertainty. A filter is added while it makes the fit clearly better; families and
/// orders are then exchanged until none is better. \param least_points with fewer, nothing is
/// returned \returns nothing where fewer points than that are within 45 dB of the highest
[[nodiscard]] std::optional<ResponseFindings> recognise_filters(
    const std::vector<measure::ResponsePoint>& points, std::size_t least_points = 12);

}  // namespace railtap::judge
