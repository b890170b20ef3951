// SPDX-License-Identifier: MIT
// A sound output that plays what a function renders, for sounds that guide.
#pragma once

#include <cstdint>
#include <memory>
#include <span>
#include <string>

#include "units/quantity.hpp"

namespace railtap::audio {

/// Renders samples, one channel, full scale ±1, in the driver's thread: it may not allocate, lock
/// or wait.
struct Renderer {
  void (*render)(void* state, std::span<float> samples) noexcept;
  void* state;
};

/// What to play on.
struct OutputRequest {
  std::string device;  ///< part of an output's name; empty: the system's default
  std::string
      measured;  ///< name of the input that is being measured, which is refused; may be empty
  Hertz rate{48000.0};
  Seconds latency{0.05};  ///< that the driver may hold; a busy computer needs more
};

/// A running output.
class OutputStream {
 public:
  /// Opens and starts. \throws Error where there is no such output, or where it is a part of the
  /// device that is being measured
  OutputStream(const OutputRequest& request, Renderer renderer);
  ~OutputStream();
  OutputStream(const OutputStream&) = delete;
  OutputStream& operator=(const OutputStream&) = delete;

  [[nodiscard]] const std::string& device() const;

  /// How often the driver said that it had to play silence because nothing was there in time. A
  /// sound server between may not report it.
  [[nodiscard]] std::int64_t underflows() const;

 private:
  struct State;
  std::unique_ptr<State> state_;
};

/// Whether two names are those of one device: the same name, or the same sound card behind both,
/// "(hw:1,0)" and "(hw:1,3)".
[[nodiscard]] bool same_device(const std::string& one, const std::string& other);

}  // namespace railtap::audio
