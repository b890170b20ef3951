// SPDX-License-Identifier: MIT
// Live figures on a page that shows something else besides, such as a walk's question; and how a
// page is reached: its address, and in a network the code that a phone reads.
#pragma once

#include <atomic>
#include <functional>
#include <iosfwd>
#include <string>
#include <thread>

#include "live/canvas.hpp"
#include "live/watch.hpp"
#include "page/page_state.hpp"
#include "page/server.hpp"

namespace railtap::live {

// How a page is reached: its address, and in a network the code that a phone reads.

/// What is told of a page.
struct PageNotice {
  std::string address;        ///< the whole of it
  std::string short_address;  ///< to be typed on this computer
  bool lan = false;           ///< others can reach it
};

/// Over the whole window, with the code where there is room for it (21 rows at most addresses).
void draw(const PageNotice& notice, const Glyphs& glyphs, WINDOW* window);

/// What a code is written with: dark on light by colours, the terminal's own light text, or not.
enum class CodeInk : unsigned char { colours, light, none };

/// The same on a terminal that is written line by line.
void print(const PageNotice& notice, CodeInk ink, std::ostream& out);

// Live figures on a page that shows something else besides, such as a walk's question.

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
