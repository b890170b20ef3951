// SPDX-License-Identifier: MIT
// PortAudio begun, ended, and kept quiet.
#include "audio/port_audio.hpp"

#include <fcntl.h>
#include <unistd.h>

#include <chrono>
#include <cstdio>
#include <future>
#include <memory>
#include <string>
#include <thread>
#include <utility>

namespace railtap::audio {
namespace {

// Looking for devices takes a tenth of a second, and some seconds on a busy computer with many.
constexpr std::chrono::seconds longest_look{20};

// Drivers' modules lock things that outlive a program that was killed, and then wait for ever: seen
// with libjack's database in shared memory, of which ALSA's module for JACK makes use wherever it
// is installed. The thread that waits is left to the end of the process.
PaError initialize() {
  const auto promise = std::make_shared<std::promise<PaError>>();
  auto result = promise->get_future();
  std::thread([promise] { promise->set_value(Pa_Initialize()); }).detach();
  if (result.wait_for(longest_look) == std::future_status::ready) return result.get();
  throw Error("the sound system does not answer", "",
              "close other programs that use sound; if that does not help, one that was killed has "
              "left a lock: where there is a /dev/shm/jack_db-" +
                  std::to_string(getuid()) + ", move it away");
}

}  // namespace

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
  if (const PaError code = initialize(); code != paNoError) {
    throw driver_error("the sound system cannot be reached", code,
                       "check that sound works at all, then try again");
  }
}

Library::~Library() {
  const QuietDrivers quiet;
  Pa_Terminate();
}

}  // namespace railtap::audio
