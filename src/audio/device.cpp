// SPDX-License-Identifier: MIT
// Audio inputs through PortAudio.
#include "audio/device.hpp"

#include <portaudio.h>

#include <algorithm>
#include <array>
#include <atomic>
#include <cctype>
#include <charconv>
#include <chrono>
#include <cmath>
#include <thread>

#include "audio/port_audio.hpp"
#include "units/error.hpp"
#include "units/print.hpp"

namespace railtap::audio {
namespace {

constexpr std::array usual_rates{44100.0, 48000.0, 88200.0, 96000.0, 176400.0, 192000.0};
constexpr double tone_kit_rate = 48000.0;
constexpr double code_full_scale = 2147483648.0;  // 2^31: codes are left-justified in 32 bits

PaStreamParameters parameters(PaDeviceIndex index, int channels, Seconds latency) {
  return {index, channels, paInt32, latency.value(), nullptr};
}

std::vector<Hertz> rates_of(PaDeviceIndex index, int channels) {
  const auto input = parameters(index, std::min(channels, 2), Seconds(0.1));
  std::vector<Hertz> rates;
  for (const double rate : usual_rates) {
    if (Pa_IsFormatSupported(&input, nullptr, rate) == paFormatIsSupported)
      rates.emplace_back(rate);
  }
  return rates;
}

struct Listed {
  PaDeviceIndex index;
  InputDevice device;
};

InputDevice describe(PaDeviceIndex index, const PaDeviceInfo& info) {
  InputDevice device;
  device.name = info.name;
  device.host = Pa_GetHostApiInfo(info.hostApi)->name;
  device.channels = info.maxInputChannels;
  device.rates = rates_of(index, info.maxInputChannels);
  device.is_default = index == Pa_GetDefaultInputDevice();
  const bool takes = std::find(device.rates.begin(), device.rates.end(), Hertz(tone_kit_rate)) !=
                     device.rates.end();
  device.preferred = Hertz(takes ? tone_kit_rate : info.defaultSampleRate);
  return device;
}

std::vector<Listed> list_devices() {
  const QuietDrivers quiet;
  std::vector<Listed> list;
  for (PaDeviceIndex index = 0; index < Pa_GetDeviceCount(); ++index) {
    const PaDeviceInfo* info = Pa_GetDeviceInfo(index);
    if (info == nullptr || info->maxInputChannels < 1) continue;
    list.push_back({index, describe(index, *info)});
    list.back().device.number = static_cast<int>(list.size());
  }
  return list;
}

std::string lower(std::string_view text) {
  std::string out(text);
  for (char& c : out) c = static_cast<char>(std::tolower(static_cast<unsigned char>(c)));
  return out;
}

std::optional<int> whole_number(std::string_view text) {
  int number = 0;
  const auto [end, failure] = std::from_chars(text.data(), text.data() + text.size(), number);
  if (failure != std::errc{} || end != text.data() + text.size()) return std::nullopt;
  return number;
}

std::string names(const std::vector<const InputDevice*>& devices) {
  std::string list;
  for (const InputDevice* device : devices) {
    list += (list.empty() ? "" : ", ") + std::to_string(device->number) + " '" + device->name + "'";
  }
  return list;
}

double monotonic_seconds() {
  using namespace std::chrono;
  return duration<double>(steady_clock::now().time_since_epoch()).count();
}

}  // namespace

std::vector<InputDevice> list_inputs() {
  const Library library;
  std::vector<InputDevice> inputs;
  for (Listed& listed : list_devices()) inputs.push_back(std::move(listed.device));
  return inputs;
}

const InputDevice& choose_input(const std::vector<InputDevice>& inputs, std::string_view wanted) {
  if (inputs.empty()) {
    throw Error("there is no audio input", "",
                "connect the sound interface and see whether the system's own settings list it");
  }
  if (wanted.empty()) {
    const auto standard = std::find_if(inputs.begin(), inputs.end(),
                                       [](const InputDevice& d) { return d.is_default; });
    return standard != inputs.end() ? *standard : inputs.front();
  }
  if (const auto number = whole_number(wanted)) {
    for (const InputDevice& device : inputs) {
      if (device.number == *number) return device;
    }
  }
  std::vector<const InputDevice*> fitting;
  for (const InputDevice& device : inputs) {
    if (lower(device.name) == lower(wanted)) return device;
    if (lower(device.name).find(lower(wanted)) != std::string::npos) fitting.push_back(&device);
  }
  if (fitting.size() == 1) return *fitting.front();
  if (fitting.empty()) {
    throw Error("there is no audio input '" + std::string(wanted) + "'", "--device",
                "see `railtap devices` for those there are");
  }
  throw Error("'" + std::string(wanted) + "' is part of several inputs' names: " + names(fitting),
              "--device", "give more of the name, or the number");
}

struct InputStream::State {
  Library library;
  InputDevice device;
  StreamFormat format;
  Seconds latency{0.0};
  std::unique_ptr<Intake> intake;
  std::optional<Continuity> continuity;
  PaStream* stream = nullptr;
  std::atomic<bool> driver_ended{false};
  std::size_t worst_backlog = 0;  // frames
  double last_arrival_s = 0.0;    // or the start, while there was none
  bool arrived = false;
  StreamEnd end = StreamEnd::running;
  bool finished = false;  // the continuity has been given the end

  static int callback(const void* input, void* output, unsigned long frames,
                      const PaStreamCallbackTimeInfo* time, PaStreamCallbackFlags flags,
                      void* state) noexcept;
  static void ended(void* state) noexcept;

  [[nodiscard]] PaDeviceIndex choose(const std::string& wanted);
  void open(PaDeviceIndex index, const InputRequest& request);
  void start();
  void look_for_end();
  void take_arrivals();
};

// Runs in the driver's thread, against a deadline: no allocation, lock, wait or file access.
int InputStream::State::callback(const void* input, void*, unsigned long frames,
                                 const PaStreamCallbackTimeInfo*, PaStreamCallbackFlags flags,
                                 void* state) noexcept {
  Intake& intake = *static_cast<State*>(state)->intake;
  if (input == nullptr) return paContinue;
  const std::size_t samples = frames * static_cast<std::size_t>(intake.channels());
  intake.take({static_cast<const std::int32_t*>(input), samples}, monotonic_seconds(),
              (flags & paInputOverflow) != 0);
  return paContinue;
}

void InputStream::State::ended(void* state) noexcept {
  static_cast<State*>(state)->driver_ended.store(true);
}

PaDeviceIndex InputStream::State::choose(const std::string& wanted) {
  const std::vector<Listed> listed = list_devices();
  std::vector<InputDevice> inputs;
  inputs.reserve(listed.size());
  for (const Listed& entry : listed) inputs.push_back(entry.device);
  device = choose_input(inputs, wanted);
  return listed[static_cast<std::size_t>(device.number - 1)].index;
}

void InputStream::State::open(PaDeviceIndex index, const InputRequest& request) {
  format.rate = request.rate.value_or(device.preferred);
  format.channels = request.channels.value_or(std::min(device.channels, 2));
  if (format.channels < 1 || format.channels > device.channels) {
    throw Error("'" + device.name + "' has " + std::to_string(device.channels) + " channels, not " +
                    std::to_string(format.channels),
                "--channels", "give 1 to " + std::to_string(device.channels));
  }
  format.encoding = device.host + " input '" + device.name + "'";
  intake = std::make_unique<Intake>(
      format.channels, static_cast<std::size_t>(request.buffer.value() * format.rate.value()));
  continuity.emplace(format.rate);
  const auto input = parameters(index, format.channels, request.latency);
  const QuietDrivers quiet;
  const PaError code =
      Pa_OpenStream(&stream, &input, nullptr, format.rate.value(), paFramesPerBufferUnspecified,
                    paClipOff | paDitherOff, &State::callback, this);
  if (code == paInvalidSampleRate) {
    throw Error("'" + device.name + "' does not take " + format_quantity(format.rate, 6), "--rate",
                "give one of the rates that `railtap devices` lists");
  }
  if (code != paNoError) {
    throw driver_error("'" + device.name + "' cannot be opened", code,
                       "see whether another program uses it, or choose another with --device");
  }
}

void InputStream::State::start() {
  const QuietDrivers quiet;
  Pa_SetStreamFinishedCallback(stream, &State::ended);
  last_arrival_s = monotonic_seconds();
  if (const PaError code = Pa_StartStream(stream); code != paNoError) {
    Pa_CloseStream(stream);
    stream = nullptr;
    throw driver_error("'" + device.name + "' cannot be started", code,
                       "see whether another program uses it, or choose another with --device");
  }
  if (const PaStreamInfo* info = Pa_GetStreamInfo(stream)) latency = Seconds(info->inputLatency);
}

void InputStream::State::take_arrivals() {
  while (const auto arrival = intake->next_arrival()) {
    continuity->add(*arrival);
    last_arrival_s = arrival->time_s;
    arrived = true;
  }
}

void InputStream::State::look_for_end() {
  if (end != StreamEnd::running) return;
  const Seconds limit = arrived ? silence_limit : start_limit;
  const bool silent = monotonic_seconds() - last_arrival_s > limit.value();
  if (driver_ended.load() || silent) end = StreamEnd::vanished;
}

InputStream::InputStream(const InputRequest& request) : state_(std::make_unique<State>()) {
  const PaDeviceIndex index = state_->choose(request.device);
  state_->open(index, request);
  state_->start();
}

InputStream::~InputStream() {
  stop();
  if (state_->stream == nullptr) return;
  const QuietDrivers quiet;
  Pa_CloseStream(state_->stream);
}

const InputDevice& InputStream::device() const {
  return state_->device;
}
const StreamFormat& InputStream::format() const {
  return state_->format;
}
Seconds InputStream::latency() const {
  return state_->latency;
}
StreamEnd InputStream::end() const {
  return state_->end;
}
Seconds InputStream::worst_backlog() const {
  return Seconds(static_cast<double>(state_->worst_backlog) / state_->format.rate.value());
}
const Continuity& InputStream::continuity() const {
  return *state_->continuity;
}

std::size_t InputStream::read(std::span<std::int32_t> codes, Seconds wait) {
  // The ring has no way to wake anyone without a lock in the callback, so it is looked into.
  constexpr std::chrono::milliseconds between_looks{2};
  const double until_s = monotonic_seconds() + wait.value();
  for (;;) {
    state_->worst_backlog = std::max(state_->worst_backlog, state_->intake->readable_frames());
    const std::size_t frames = state_->intake->read(codes);
    state_->take_arrivals();
    if (frames > 0) return frames;
    state_->look_for_end();
    if (state_->end != StreamEnd::running) break;
    if (monotonic_seconds() >= until_s) return 0;
    std::this_thread::sleep_for(between_looks);
  }
  if (!state_->finished) {
    state_->finished = true;
    stop();
    if (const std::size_t rest = state_->intake->read(codes); rest > 0) {
      state_->take_arrivals();
      state_->finished = false;
      return rest;
    }
    state_->continuity->finish(state_->intake->lost_at_end());
  }
  return 0;
}

void InputStream::stop() {
  if (state_->stream == nullptr) return;
  if (state_->end == StreamEnd::running) state_->end = StreamEnd::stopped;
  const QuietDrivers quiet;
  // Stopping waits for the driver, which would take for ever where the device is gone.
  if (Pa_IsStreamStopped(state_->stream) == 0) Pa_AbortStream(state_->stream);
}

Source source_of(const std::shared_ptr<InputStream>& stream) {
  Source source;
  source.format = stream->format();
  source.read = [stream, codes = std::vector<std::int32_t>()](std::span<double> samples) mutable {
    codes.resize(samples.size());
    std::size_t frames = 0;
    while (frames == 0) {
      frames = stream->read(codes, Seconds(0.1));
      if (frames == 0 && stream->end() != StreamEnd::running) return std::size_t{0};
    }
    const std::size_t count = frames * static_cast<std::size_t>(stream->format().channels);
    for (std::size_t i = 0; i < count; ++i) samples[i] = codes[i] / code_full_scale;
    return frames;
  };
  return source;
}

}  // namespace railtap::audio
