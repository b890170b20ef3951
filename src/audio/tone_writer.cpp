// SPDX-License-Identifier: MIT
// Rendering on several threads, files committed together.
#include "audio/tone_writer.hpp"

#include <algorithm>
#include <atomic>
#include <cmath>
#include <exception>
#include <mutex>
#include <optional>
#include <thread>

#include "files/atomic_file.hpp"
#include "signal/generator.hpp"
#include "units/error.hpp"

namespace railtap::audio {
namespace {

constexpr std::size_t block_frames = 4096;

std::optional<double> code_step(const SoundFileSpec& spec) {
  constexpr double step16 = 0x1p-15, step24 = 0x1p-23;
  if (spec.container == Container::mp3) return {};
  if (spec.samples == SampleType::pcm16) return step16;
  if (spec.samples == SampleType::pcm24) return step24;
  return {};
}

// One file on its way: what renders it, and where it goes.
struct Work {
  signal::Generator generator;
  Sink sink;
  double peak = 0.0;
};

void render(Work& work, std::optional<double> step, const std::atomic<bool>& stop) {
  std::optional<signal::Dither> dither;
  if (step) dither.emplace(*step);
  std::vector<double> block(2 * block_frames);
  while (const std::size_t frames = work.generator.render(block)) {
    files::throw_if_interrupted();
    if (stop) return;
    const std::span<double> samples(block.data(), 2 * frames);
    if (dither) dither->add(samples);
    for (const double sample : samples) work.peak = std::max(work.peak, std::abs(sample));
    work.sink.write(samples);
  }
}

// The threads' common ground: the next track, and the first failure.
struct Shared {
  std::atomic<std::size_t> next{0};
  std::atomic<bool> stop{false};
  std::mutex mutex;
  std::exception_ptr failure;
};

void render_in_turn(std::vector<Work>& works, std::optional<double> step, Shared& shared) {
  try {
    for (std::size_t i = shared.next++; i < works.size() && !shared.stop; i = shared.next++)
      render(works[i], step, shared.stop);
  } catch (...) {
    const std::lock_guard lock(shared.mutex);
    if (!shared.failure) shared.failure = std::current_exception();
    shared.stop = true;
  }
}

void render_all(std::vector<Work>& works, std::optional<double> step) {
  Shared shared;
  {
    const std::size_t cores = std::max(1U, std::thread::hardware_concurrency());
    std::vector<std::jthread> threads;
    for (std::size_t n = 0; n < std::min(cores, works.size()); ++n)
      threads.emplace_back([&] { render_in_turn(works, step, shared); });
  }
  if (shared.failure) std::rethrow_exception(shared.failure);
}

}  // namespace

double highest_peak(const SoundFileSpec& spec) {
  const auto step = code_step(spec);
  return step ? signal::Dither::highest_peak(*step) : signal::highest_float_peak;
}

bool is_dithered(const SoundFileSpec& spec) {
  return code_step(spec).has_value();
}

std::vector<double> write_tones(const std::vector<ToneJob>& jobs, const SoundFileSpec& spec,
                                files::Overwrite overwrite) {
  std::vector<Work> works;
  for (const ToneJob& job : jobs) {
    SoundFileSpec titled = spec;
    titled.title = job.track.title;
    // The generator first: it refuses what cannot be rendered before a file is made.
    signal::Generator generator(job.track, spec.rate, highest_peak(spec));
    if (generator.frames() > most_frames(spec)) {
      throw Error("would be larger than 4 GiB, which is all that such a file can hold",
                  job.path.string(), "make it shorter, or use --container flac");
    }
    works.push_back({std::move(generator), create_sound_file(job.path, titled, overwrite)});
  }
  render_all(works, code_step(spec));
  std::vector<double> peaks;
  for (const Work& work : works) {
    work.sink.commit();
    peaks.push_back(work.peak);
  }
  return peaks;
}

}  // namespace railtap::audio
