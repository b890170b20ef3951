// SPDX-License-Identifier: MIT
// PortAudio begun, ended, and kept quiet.
#include "audio/port_audio.hpp"

#include <fcntl.h>
#include <unistd.h>

#include <cstdio>
#include <utility>

namespace railtap::audio {

QuietDrivers::QuietDrivers() {
  std::fflush(stderr);
  const int nowhere = open("/dev/null", O_WRONLY | O_CLOEXEC);
  if (nowhere < 0) return;
  kept_ = fcntl(STDERR_FILENO, F_DUPFD_CLOEXEC, 0);
  if (kept_ >= 0) dup2(nowhere, STDERR_FILENO);
  close(nowhere);
}

QuietDrivers::~QuietDrivers() {
  if (kept_ < 0) return;
  dup2(kept_, STDERR_FILENO);
  close(kept_);
}

Error driver_error(const std::string& doing, PaError code, std::string remedy) {
  std::string why = Pa_GetErrorText(code);
  if (code == paUnanticipatedHostError) why = Pa_GetLastHostErrorInfo()->errorText;
  return {doing + " (" + why + ")", "", std::move(remedy)};
}

Library::Library() {
  const QuietDrivers quiet;
  if (const PaError code = Pa_Initialize(); code != paNoError) {
    throw driver_error("the sound system cannot be reached", code,
                       "check that sound works at all, then try again");
  }
}

Library::~Library() {
  const QuietDrivers quiet;
  Pa_Terminate();
}

}  // namespace railtap::audio
