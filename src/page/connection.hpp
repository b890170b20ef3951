// SPDX-License-Identifier: MIT
// A browser's connection with bounds on how much it sends and how long it takes.
#pragma once

#include <array>
#include <atomic>
#include <chrono>
#include <cstddef>
#include <string_view>

namespace railtap::page {

/// A connected socket, which it closes. A request may have `most_bytes` and take `request_time`;
/// what is written must be taken by the other side within `write_time`. All waiting ends soon after
/// `stopping` is set.
class Connection {
 public:
  static constexpr std::size_t most_bytes = 8192;
  static constexpr std::chrono::seconds request_time{5};
  static constexpr std::chrono::seconds write_time{2};

  Connection(int socket, const std::atomic<bool>& stopping);
  ~Connection();
  Connection(const Connection&) = delete;
  Connection& operator=(const Connection&) = delete;

  /// As read(2): 0 at the end, -1 where a bound was reached or the connection broke.
  [[nodiscard]] std::ptrdiff_t read(char* to, std::size_t size);
  /// Writes all of it. \returns whether that was possible
  bool write(std::string_view text);
  /// Whether the other side still takes something.
  [[nodiscard]] bool is_writable() const;
  [[nodiscard]] bool has_input() const;
  /// More came than a request may have.
  [[nodiscard]] bool is_too_long() const { return too_long_; }
  [[nodiscard]] int socket() const { return socket_; }

  /// Ends what is written, and reads the rest of what comes for a moment: a socket that is closed
  /// with something unread resets the connection, and the answer is lost (RFC 9112, 9.6).
  void finish();

 private:
  using Clock = std::chrono::steady_clock;
  [[nodiscard]] bool wait(short events, Clock::time_point until) const;
  [[nodiscard]] std::ptrdiff_t fill();

  int socket_;
  const std::atomic<bool>& stopping_;
  Clock::time_point until_;
  std::array<char, 2048> buffer_{};
  std::size_t begin_ = 0, end_ = 0;  // what of the buffer was not read yet
  std::size_t received_ = 0;
  bool too_long_ = false;
  bool broken_ = false;
};

}  // namespace railtap::page
