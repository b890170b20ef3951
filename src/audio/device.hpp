// SPDX-License-Identifier: MIT
// Audio inputs, through PortAudio: which there are, and a stream from one of them.
#pragma once

#include <cstdint>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "audio/intake.hpp"
#include "audio/stream.hpp"
#include "units/quantity.hpp"

namespace railtap::audio {

/// One input that the system offers.
struct InputDevice {
  int number = 0;            ///< from 1, in the system's order
  std::string name;          ///< as the system gives it
  std::string host;          ///< the system's interface to it: "ALSA"
  int channels = 0;          ///< at most
  std::vector<Hertz> rates;  ///< of the usual ones, those that it takes
  Hertz preferred{0.0};      ///< 48 kHz where it takes that, the rate of the test tones
  bool is_default = false;
};

/// All inputs. Empty where there are none. \throws Error where the sound system cannot be reached
[[nodiscard]] std::vector<InputDevice> list_inputs();

/// Chooses by number or by a part of the name, whatever its case; a whole name goes before a part
/// of one. Nothing given: the system's default input, else the first.
/// \throws Error where none or several fit, or there is no input at all
[[nodiscard]] const InputDevice& choose_input(const std::vector<InputDevice>& inputs,
                                              std::string_view wanted);

/// What to open.
struct InputRequest {
  std::string device;           ///< as for choose_input
  std::optional<Hertz> rate;    ///< none: the preferred one
  std::optional<int> channels;  ///< none: 2, or 1 where it has only one
  Seconds latency{0.1};         ///< from sound to callback that the driver may take
  Seconds buffer{8.0};          ///< how long the reader may be held up before samples are lost
};

/// Why a stream has no more samples.
enum class StreamEnd {
  running,
  stopped,   ///< by `stop`
  vanished,  ///< the driver ended it, or has delivered nothing for too long
};

/// A running input. The driver's callback copies into a lock-free ring and does nothing else;
/// whoever reads may be held up for `InputRequest::buffer`. One reading thread.
class InputStream {
 public:
  /// A driver that delivers nothing for so long has lost its device. Network and Bluetooth inputs
  /// hesitate for up to a second (from memory).
  static constexpr Seconds silence_limit{3.0};
  /// The same until the first samples: a sound server may have to wake its device.
  static constexpr Seconds start_limit{8.0};

  /// Opens and starts. \throws Error where there is no such device, or it does not take the rate or
  /// the number of channels
  explicit InputStream(const InputRequest& request);
  ~InputStream();
  InputStream(const InputStream&) = delete;
  InputStream& operator=(const InputStream&) = delete;

  [[nodiscard]] const InputDevice& device() const;
  [[nodiscard]] const StreamFormat& format() const;
  [[nodiscard]] Seconds latency() const;  ///< as the driver reports it

  /// Waits for samples, at most `wait`. \param codes interleaved, left-justified: full scale is
  /// 2^31 \returns frames; 0 when none came, see `end`
  std::size_t read(std::span<std::int32_t> codes, Seconds wait);

  /// Stops the driver; what it has delivered can still be read. The second call does nothing.
  void stop();

  [[nodiscard]] StreamEnd end() const;

  /// The longest stretch of samples that ever waited to be read.
  [[nodiscard]] Seconds worst_backlog() const;

  /// Losses up to the last arrival that was read; complete once `read` returned 0 at the end.
  [[nodiscard]] const Continuity& continuity() const;

 private:
  struct State;
  std::unique_ptr<State> state_;
};

/// The same as a Source: full scale ±1; ends when the device does.
[[nodiscard]] Source source_of(const std::shared_ptr<InputStream>& stream);

}  // namespace railtap::audio
