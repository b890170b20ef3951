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
// A reader that found the queue full starts again when it is half empty: woken for every block,
// both threads would spend their time on switching.
constexpr std::size_t refill_below = blocks_in_flight / 2;
constexpr std::size_t block_samples = 32768;  // 256 KiB: fits the second-level cache

struct Block {
  std::vector<double> samples;
  std::size_t frames = 0;
};

// Blocks on their way from one reader to one consumer. `filled` counts those ready to be consumed.
struct BlockQueue {
  std::mutex mutex;
  std::condition_variable filled_up;  // the consumer waits for it
  std::condition_variable drained;    // the reader waits for it
  std::array<Block, blocks_in_flight> blocks;
  std::size_t filled = 0;
  bool ended = false;
  bool stopped = false;
  std::exception_ptr failure;
};

void read_all(const Source& source, BlockQueue& queue) {
  const auto channels = static_cast<std::size_t>(source.format.channels);
  const std::size_t size = block_samples / channels * channels;
  for (std::size_t slot = 0;; slot = (slot + 1) % blocks_in_flight) {
    {
      std::unique_lock lock(queue.mutex);
      if (queue.filled == blocks_in_flight) {
        queue.drained.wait(lock, [&] { return queue.filled <= refill_below || queue.stopped; });
      }
      if (queue.stopped) return;
    }
    Block& block = queue.blocks[slot];
    block.samples.resize(std::max(size, channels));
    block.frames = source.read(block.samples);
    const std::lock_guard lock(queue.mutex);
    if (block.frames == 0) {
      queue.ended = true;
    } else {
      ++queue.filled;
    }
    queue.filled_up.notify_one();
    if (queue.ended) return;
  }
}

void read_or_fail(const Source& source, BlockQueue& queue) {
  try {
    read_all(source, queue);
  } catch (...) {
    const std::lock_guard lock(queue.mutex);
    queue.failure = std::current_exception();
    queue.ended = true;
    queue.filled_up.notify_one();
  }
}

// Tells the reader to stop and waits for it, however this scope is left.
struct ReaderThread {
  BlockQueue& queue;
  std::thread thread;
  ~ReaderThread() {
    {
      const std::lock_guard lock(queue.mutex);
      queue.stopped = true;
    }
    queue.drained.notify_one();
    thread.join();
  }
};

}  // namespace

std::int64_t pump(const Source& source,
                  const std::function<bool(std::span<const double>)>& consume) {
  BlockQueue queue;
  const ReaderThread reader{queue, std::thread([&] { read_or_fail(source, queue); })};
  const auto channels = static_cast<std::size_t>(source.format.channels);
  std::int64_t frames = 0;
  for (std::size_t slot = 0;; slot = (slot + 1) % blocks_in_flight) {
    {
      std::unique_lock lock(queue.mutex);
      queue.filled_up.wait(lock, [&] { return queue.filled > 0 || queue.ended; });
      if (queue.filled == 0) {
        if (queue.failure) std::rethrow_exception(queue.failure);
        return frames;
      }
    }
    const Block& block = queue.blocks[slot];
    frames += static_cast<std::int64_t>(block.frames);
    if (!consume(std::span(block.samples).first(block.frames * channels))) return frames;
    const std::lock_guard lock(queue.mutex);
    if (--queue.filled == refill_below) queue.drained.notify_one();
  }
}

}  // namespace railtap::audio
