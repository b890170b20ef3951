// SPDX-License-Identifier: MIT
// Between the thread that measures and those that serve pages: the latest state one way, pressed
// keys the other.
#pragma once

#include <chrono>
#include <condition_variable>
#include <cstdint>
#include <deque>
#include <memory>
#include <mutex>
#include <optional>
#include <string>
#include <vector>

#include "page/page_state.hpp"

namespace railtap::page {

/// A button that was pressed, or an answer that was typed.
struct Press {
  enum class Kind : unsigned char { key, answer };
  Kind kind = Kind::key;
  std::string text;       ///< the key's name, or what was typed
  std::int64_t step = 0;  ///< PageState::step that it was meant for
};

/// What became of a press.
enum class Taken : unsigned char { yes, not_offered, full };

/// One state and one bounded queue under one lock, which is never held longer than it takes to
/// exchange a pointer: whoever publishes is not held up by whoever reads.
class Exchange {
 public:
  static constexpr std::size_t most_presses = 32;
  using Clock = std::chrono::steady_clock;

  /// What a reader gets: the latest document, never one that was superseded.
  struct Seen {
    std::shared_ptr<const std::string> document;  ///< none before the first
    std::uint64_t version = 0;                    ///< 0 before the first
    Clock::time_point at{};                       ///< when it was published
  };

  void publish(const PageState& state);

  /// Waits for a version other than `known`, at most `patience`, or until closed.
  [[nodiscard]] Seen wait(std::uint64_t known, std::chrono::milliseconds patience) const;

  /// Takes a press only if it is offered by the latest state and was meant for its step.
  [[nodiscard]] Taken put(Press press);
  /// The oldest press that was not taken yet.
  [[nodiscard]] std::optional<Press> take();

  void close();  ///< wakes everybody who waits
  [[nodiscard]] bool closed() const;

 private:
  [[nodiscard]] bool offers(const Press& press) const;

  mutable std::mutex mutex_;
  mutable std::condition_variable changed_;
  Seen latest_;
  std::vector<std::string> keys_;  // that the latest state offers
  bool asks_ = false;              // it has a question
  std::int64_t step_ = 0;
  std::deque<Press> presses_;
  bool closed_ = false;
};

}  // namespace railtap::page
