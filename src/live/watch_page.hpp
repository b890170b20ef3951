// SPDX-License-Identifier: MIT
// A watch on the phone page: what it shows, and what its buttons press.
#pragma once

#include <chrono>
#include <optional>

#include "live/terminal.hpp"
#include "live/watch_control.hpp"
#include "page/page_state.hpp"
#include "page/server.hpp"

namespace railtap::live {

/// What the page shows of a view: the same words as the watch screen, of the same pair of channels.
/// \param knobs the virtual rig's are there to be turned
[[nodiscard]] page::PageState page_state(const WatchView& view, bool knobs);

/// One channel, as page_state has it.
[[nodiscard]] page::Meter meter_of(const ChannelReading& reading, const WatchView& view,
                                   bool in_focus);

/// The key that a button of page_state stands for; none for another name.
[[nodiscard]] std::optional<Key> key_of_button(const std::string& name);

/// Keeps a page in step with a watch.
class WatchPage {
 public:
  /// \param server may be null: then nothing is done. It outlives this.
  explicit WatchPage(page::Server* server) : server_(server) {}

  /// Hands what was pressed on pages to the control. \returns whether there was anything
  bool take_presses(WatchControl& control);
  void show(const WatchView& view, bool knobs);
  void publish(const page::PageState& state);
  /// Whether a new state may be shown: twenty times a second at most.
  [[nodiscard]] bool is_due() const;

 private:
  page::Server* server_;
  std::chrono::steady_clock::time_point shown_{};
};

}  // namespace railtap::live
