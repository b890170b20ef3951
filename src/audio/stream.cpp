// SPDX-License-Identifier: MIT
// Carries a stream from where it is read to where it is measured, one reading while the other
// works.
#include "audio/stream.hpp"

#include <array>
#include <condition_variable>
#include <exception>
#include <mutex>
#include <thread>
#include <vector>

namespace railtap::audio {
namespace {

constexpr std::size_t blocks_in_flight = 8;
// A reader that found the ring full starts again when it is half empty: woken for every block, both
// threads would spend their time on switching.
constexpr std::size_t refill_below = blocks_in_flight / 2;
constexpr std::size_t block_samples = 32768;  // 256 KiB: fits the second-level cache

struct Block {
  std::vector<double> samples;
  std::size_t frames = 0;
};

// A ring of blocks with one reader and one consumer. `filled` counts blocks ready to be consumed.
struct RingOfBlocks {
  std::mutex mutex;
  std::condition_variable filled_up;  // the consumer waits for it
  std::condition_variable drained;    // the reader waits for it
  std::array<Block, blocks_in_flight> blocks;
  std::size_t filled = 0;
  bool ended = false;
  bool stopped = false;
  std::exception_ptr failure;
};

void read_all(const Source& source, RingOfBlocks& ring) {
  const auto channels = static_cast<std::size_t>(source.format.channels);
  const std::size_t size = block_samples / channels * channels;
  for (std::size_t slot = 0;; slot = (slot + 1) % blocks_in_flight) {
    {
      std::unique_lock lock(ring.mutex);
      if (ring.filled == blocks_in_flight) {
        ring.drained.wait(lock, [&] { return ring.filled <= refill_below || ring.stopped; });
      }
      if (ring.stopped) return;
    }
    Block& block = ring.blocks[slot];
    block.samples.resize(std::max(size, channels));
    block.frames = source.read(block.samples);
    const std::lock_guard lock(ring.mutex);
    if (block.frames == 0) {
      ring.ended = true;
    } else {
      ++ring.filled;
    }
    ring.filled_up.notify_one();
    if (ring.ended) return;
  }
}

void read_or_fail(const Source& source, RingOfBlocks& ring) {
  try {
    read_all(source, ring);
  } catch (...) {
    const std::lock_guard lock(ring.mutex);
    ring.failure = std::current_exception();
    ring.ended = true;
    ring.filled_up.notify_one();
  }
}

// Tells the reader to stop and waits for it, however this scope is left.
struct ReaderThread {
  RingOfBlocks& ring;
  std::thread thread;
  ~ReaderThread() {
    {
      const std::lock_guard lock(ring.mutex);
      ring.stopped = true;
    }
    ring.drained.notify_one();
    thread.join();
  }
};

}  // namespace

std::int64_t pump(const Source& source,
                  const std::function<bool(std::span<const double>)>& consume) {
  RingOfBlocks ring;
  const ReaderThread reader{ring, std::thread([&] { read_or_fail(source, ring); })};
  const auto channels = static_cast<std::size_t>(source.format.channels);
  std::int64_t frames = 0;
  for (std::size_t slot = 0;; slot = (slot + 1) % blocks_in_flight) {
    {
      std::unique_lock lock(ring.mutex);
      ring.filled_up.wait(lock, [&] { return ring.filled > 0 || ring.ended; });
      if (ring.filled == 0) {
        if (ring.failure) std::rethrow_exception(ring.failure);
        return frames;
      }
    }
    const Block& block = ring.blocks[slot];
    frames += static_cast<std::int64_t>(block.frames);
    if (!consume(std::span(block.samples).first(block.frames * channels))) return frames;
    const std::lock_guard lock(ring.mutex);
    if (--ring.filled == refill_below) ring.drained.notify_one();
  }
}

}  // namespace railtap::audio
