// SPDX-License-Identifier: MIT
// The page on the network: served to a few browsers, which get the latest state and send back the
// keys that were pressed.
#pragma once

#include <memory>
#include <optional>
#include <string>
#include <string_view>

#include "page/exchange.hpp"
#include "page/page_state.hpp"

namespace railtap::page {

// The page itself, as it is built into the program.

/// The files of src/page/screen.
[[nodiscard]] std::string_view page_html();
[[nodiscard]] std::string_view page_css();
[[nodiscard]] std::string_view page_js();

// The page on the network: served to a few browsers, which get the latest state and send back the
// keys that were pressed.

/// Where the page is served.
struct ServerRequest {
  bool lan = false;         ///< to the network, else to this computer only
  std::optional<int> port;  ///< none: usual_port, or any other where that is taken
};

/// The first port that is tried: among those that are nobody's (49152 and up, RFC 6335, 6), and
/// above those that Linux hands out by itself (to 60999).
inline constexpr int usual_port = 61470;

/// Serves from threads of its own until it is destroyed. Whoever publishes or takes presses is
/// never held up by a browser: one that does not read for two seconds is let go.
class Server {
 public:
  static constexpr int most_viewers = 24;      ///< pages that are open at a time
  static constexpr int most_connections = 40;  ///< further ones are turned away at once

  /// \throws Error where the port is taken, or the computer is in no network
  explicit Server(const ServerRequest& request);
  ~Server();
  Server(const Server&) = delete;
  Server& operator=(const Server&) = delete;

  /// The whole address, with the token: "http://192.168.4.20:61470/TOKEN/".
  [[nodiscard]] const std::string& address() const;
  /// What is to be typed on this computer; with the token where others can reach it.
  [[nodiscard]] std::string short_address() const;
  [[nodiscard]] bool lan() const;
  [[nodiscard]] int viewers() const;

  void publish(const PageState& state);
  /// The oldest press that was not taken yet, of a button of the state that was published last.
  [[nodiscard]] std::optional<Press> take();

 private:
  struct Parts;
  std::unique_ptr<Parts> parts_;
};

}  // namespace railtap::page
