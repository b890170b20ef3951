// SPDX-License-Identifier: MIT
// Whether a recorded tone is fit to calibrate with, and what it measures if it is.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "judge/analysis.hpp"
#include "measure/recording.hpp"
#include "units/quantity.hpp"

namespace railtap::judge {

/// A tone that is fit.
struct CalibrationCapture {
  int channel = 0;           ///< from 1
  double rms_fs = 0.0;       ///< full scales, in the measuring band, DC excluded
  double form_factor = 0.0;  ///< RMS over rectified mean
  Decibels level_spread{0.0};
  Hertz frequency{0.0};
  Dbfs level{0.0};
  Percent thdn{0.0};
};

/// The channel to calibrate with: that with the loudest tone, else the loudest. Counted from 1.
/// \param channels not empty
[[nodiscard]] int loudest_channel(const std::vector<ChannelAnalysis>& channels);

/// Takes the longest steady tone of a channel.
/// \param place the file's name, for errors
/// \throws Error, with the reason and what to do, for a tone that is missing, clipped, distorted,
/// noisy,
///         unsteady, shorter than a second, or that overloads the recording input
[[nodiscard]] CalibrationCapture calibration_capture(const measure::ChannelRecording& recording,
                                                     const ChannelAnalysis& analysis, Hertz rate,
                                                     const std::string& place);

}  // namespace railtap::judge
