// SPDX-License-Identifier: MIT
// Reading and writing of a socket with bounds.
#include "page/connection.hpp"

#include <fcntl.h>
#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstring>

namespace railtap::page {
namespace {

// Between two looks at whether the server is to stop.
constexpr std::chrono::milliseconds glance{100};

// A browser that stops reading is noticed after about a second's worth of states, not after the
// megabytes that a system may otherwise keep for it.
constexpr int send_buffer_bytes = 32768;

}  // namespace

Connection::Connection(int socket, const std::atomic<bool>& stopping)
    : socket_(socket), stopping_(stopping), until_(Clock::now() + request_time) {
  setsockopt(socket_, SOL_SOCKET, SO_SNDBUF, &send_buffer_bytes, sizeof send_buffer_bytes);
  fcntl(socket_, F_SETFL, fcntl(socket_, F_GETFL) | O_NONBLOCK);
}

Connection::~Connection() {
  close(socket_);
}

bool Connection::wait(short events, Clock::time_point until) const {
  while (!stopping_) {
    const auto left = std::chrono::ceil<std::chrono::milliseconds>(until - Clock::now());
    if (left.count() <= 0) return false;
    pollfd entry{socket_, events, 0};
    const int ready = poll(&entry, 1, static_cast<int>(std::min(left, glance).count()));
    if (ready > 0) return true;
    if (ready < 0 && errno != EINTR) return false;
  }
  return false;
}

std::ptrdiff_t Connection::fill() {
  if (received_ >= most_bytes) {
    too_long_ = true;
    return -1;
  }
  const std::size_t room = std::min(buffer_.size(), most_bytes - received_);
  while (wait(POLLIN, until_)) {
    const ssize_t got = recv(socket_, buffer_.data(), room, 0);
    if (got < 0 && (errno == EAGAIN || errno == EINTR)) continue;
    if (got <= 0) return got;
    begin_ = 0;
    end_ = static_cast<std::size_t>(got);
    received_ += end_;
    return got;
  }
  return -1;
}

std::ptrdiff_t Connection::read(char* to, std::size_t size) {
  if (begin_ == end_) {
    const std::ptrdiff_t got = fill();
    if (got <= 0) return got;
  }
  const std::size_t count = std::min(size, end_ - begin_);
  std::memcpy(to, buffer_.data() + begin_, count);
  begin_ += count;
  return static_cast<std::ptrdiff_t>(count);
}

bool Connection::write(std::string_view text) {
  const auto until = Clock::now() + write_time;
  while (!text.empty() && !broken_) {
    const ssize_t sent = send(socket_, text.data(), text.size(), MSG_NOSIGNAL);
    if (sent > 0) {
      text.remove_prefix(static_cast<std::size_t>(sent));
    } else if (errno != EINTR && (errno != EAGAIN || !wait(POLLOUT, until))) {
      broken_ = true;
    }
  }
  return !broken_;
}

bool Connection::is_writable() const {
  if (broken_ || stopping_) return false;
  pollfd entry{socket_, POLLRDHUP, 0};
  return poll(&entry, 1, 0) == 0;
}

bool Connection::has_input() const {
  pollfd entry{socket_, POLLIN, 0};
  return begin_ != end_ || poll(&entry, 1, 0) > 0;
}

void Connection::finish() {
  constexpr std::size_t most_left_over = 1U << 20U;
  constexpr std::chrono::milliseconds moment{500};
  if (broken_ || shutdown(socket_, SHUT_WR) != 0) return;
  const auto until = Clock::now() + moment;
  for (std::size_t left_over = 0; left_over < most_left_over && wait(POLLIN, until);) {
    const ssize_t got = recv(socket_, buffer_.data(), buffer_.size(), 0);
    if (got == 0 || (got < 0 && errno != EINTR && errno != EAGAIN)) return;
    if (got > 0) left_over += static_cast<std::size_t>(got);
  }
}

}  // namespace railtap::page
