// SPDX-License-Identifier: MIT
// PortAudio in use, and its error codes as `Error`; for the files that call it.
#pragma once

#include <portaudio.h>

#include <string>

#include "units/error.hpp"

namespace railtap::audio {

/// While it lasts, what drivers write to standard error goes nowhere: ALSA and JACK report every
/// device of their own configuration that is not there.
class QuietDrivers {
 public:
  QuietDrivers();
  ~QuietDrivers();
  QuietDrivers(const QuietDrivers&) = delete;
  QuietDrivers& operator=(const QuietDrivers&) = delete;

 private:
  int kept_ = -1;
};

/// PortAudio in use; it counts how often it was initialised.
class Library {
 public:
  /// \throws Error where the sound system cannot be reached
  Library();
  ~Library();
  Library(const Library&) = delete;
  Library& operator=(const Library&) = delete;
};

/// What PortAudio could not do, with its own reason.
[[nodiscard]] Error driver_error(const std::string& doing, PaError code, std::string remedy);

}  // namespace railtap::audio
