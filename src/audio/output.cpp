// SPDX-License-Identifier: MIT
// Sound outputs through PortAudio.
#include "audio/output.hpp"

#include <algorithm>
#include <atomic>
#include <cctype>
#include <optional>
#include <string_view>

#include "audio/port_audio.hpp"

namespace railtap::audio {
namespace {

std::string lower(std::string_view text) {
  std::string out(text);
  for (char& c : out) c = static_cast<char>(std::tolower(static_cast<unsigned char>(c)));
  return out;
}

// "1" out of "USB interface: - (hw:1,0)"; empty where the name holds no card.
std::string card_of(const std::string& name) {
  const auto start = name.find("(hw:");
  if (start == std::string::npos) return "";
  const auto first = start + std::string_view("(hw:").size();
  const auto end = name.find_first_of(",)", first);
  return name.substr(first, end - first);
}

std::optional<PaDeviceIndex> find_output(const std::string& wanted) {
  if (wanted.empty()) {
    const PaDeviceIndex standard = Pa_GetDefaultOutputDevice();
    return standard == paNoDevice ? std::nullopt : std::optional(standard);
  }
  for (PaDeviceIndex index = 0; index < Pa_GetDeviceCount(); ++index) {
    const PaDeviceInfo* info = Pa_GetDeviceInfo(index);
    if (info == nullptr || info->maxOutputChannels < 1) continue;
    if (lower(info->name).find(lower(wanted)) != std::string::npos) return index;
  }
  return std::nullopt;
}

}  // namespace

bool same_device(const std::string& one, const std::string& other) {
  const std::string card = card_of(one);
  return one == other || (!card.empty() && card == card_of(other));
}

struct OutputStream::State {
  Library library;
  std::string name;
  Renderer renderer{};
  PaStream* stream = nullptr;
  std::atomic<std::int64_t> underflows{0};

  // Runs in the driver's thread, against a deadline.
  static int callback(const void* /*input*/, void* output, unsigned long frames,
                      const PaStreamCallbackTimeInfo* /*time*/, PaStreamCallbackFlags flags,
                      void* state) noexcept {
    auto& self = *static_cast<State*>(state);
    const Renderer& renderer = self.renderer;
    if ((flags & paOutputUnderflow) != 0) ++self.underflows;
    renderer.render(renderer.state, {static_cast<float*>(output), frames});
    return paContinue;
  }
  void choose(const OutputRequest& request, PaStreamParameters& parameters);
  void start(const OutputRequest& request);
};

void OutputStream::State::choose(const OutputRequest& request, PaStreamParameters& parameters) {
  const QuietDrivers quiet;
  const auto index = find_output(request.device);
  if (!index) {
    throw Error(request.device.empty() ? "there is no sound output"
                                       : "there is no sound output '" + request.device + "'",
                "--sound", "leave --sound out, or name another output with --sound-device");
  }
  name = Pa_GetDeviceInfo(*index)->name;
  parameters = {*index, 1, paFloat32, request.latency.value(), nullptr};
}

void OutputStream::State::start(const OutputRequest& request) {
  PaStreamParameters parameters{};
  choose(request, parameters);
  if (!request.measured.empty() && same_device(name, request.measured)) {
    throw Error("'" + name +
                    "' is the device that is being measured; sounds on it would be measured "
                    "too, or reach the amplifier",
                "--sound",
                "name another output with --sound-device, such as the laptop's own speaker");
  }
  const QuietDrivers quiet;
  PaError code = Pa_OpenStream(&stream, nullptr, &parameters, request.rate.value(),
                               paFramesPerBufferUnspecified, paNoFlag, &State::callback, this);
  if (code == paNoError) code = Pa_StartStream(stream);
  if (code == paNoError) return;
  if (stream != nullptr) Pa_CloseStream(stream);
  stream = nullptr;
  throw driver_error("'" + name + "' cannot be played on", code,
                     "name another output with --sound-device");
}

OutputStream::OutputStream(const OutputRequest& request, Renderer renderer)
    : state_(std::make_unique<State>()) {
  state_->renderer = renderer;
  state_->start(request);
}

OutputStream::~OutputStream() {
  if (state_->stream == nullptr) return;
  const QuietDrivers quiet;
  Pa_AbortStream(state_->stream);
  Pa_CloseStream(state_->stream);
}

const std::string& OutputStream::device() const {
  return state_->name;
}

std::int64_t OutputStream::underflows() const {
  return state_->underflows.load();
}

}  // namespace railtap::audio
