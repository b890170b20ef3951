// SPDX-License-Identifier: MIT
// Live figures on a page that shows something else besides, such as a walk's question.
#pragma once

#include <atomic>
#include <functional>
#include <thread>

#include "live/watch.hpp"
#include "page/page_state.hpp"
#include "page/server.hpp"

namespace railtap::live {

/// Listens and publishes on a thread of its own, until it is destroyed.
class PageMeter {
 public:
  /// \param open  makes what is watched, on that thread: an input may take its time to open. Where
  /// it throws, or the input ends, the page says why and stays without figures.
  /// \param server  outlives it, and is published to by nobody else meanwhile
  /// \param around  what the page shows besides
  PageMeter(std::function<WatchJob()> open, page::Server& server, page::PageState around);
  ~PageMeter();
  PageMeter(const PageMeter&) = delete;
  PageMeter& operator=(const PageMeter&) = delete;

 private:
  void run();
  void listen();

  std::function<WatchJob()> open_;
  page::Server& server_;
  page::PageState around_;
  std::atomic<bool> over_{false};
  std::thread thread_;
};

}  // namespace railtap::live
