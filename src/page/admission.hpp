// SPDX-License-Identifier: MIT
// Which requests the page's server answers, decided from their first lines alone, and the secret
// part of its address.
#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace railtap::page {

// The secret part of the page's address.

/// 128 bits of the system's own randomness (getrandom) in 22 characters of base64url
/// [RFC 4648, 5]: as many as RFC 6749, 10.10 asks for. \throws Error where the system gives none
[[nodiscard]] std::string make_token();

/// Whether two texts are the same. The time it takes depends on the first one's length only, so a
/// guess learns nothing from it.
[[nodiscard]] bool same_secret(std::string_view given, std::string_view secret);

// Which requests the page's server answers, decided from their first lines alone.

/// What is known of a request before its body is read. Header fields that came several times are
/// several entries.
struct RequestHead {
  std::string method;
  std::string path;  ///< decoded, without the query
  std::vector<std::string> host, origin;
  std::optional<std::size_t> content_length;  ///< none: not given, or not readable
  bool has_transfer_coding = false;
};

/// What a request must fit.
struct Gate {
  std::string token;
  /// Host fields that are this server's: address and port. Any other name would let a foreign page
  /// whose name was pointed here read along.
  std::vector<std::string> hosts;
  bool loopback = true;  ///< "/" leads to the page, for whoever is on this computer
};

/// What is asked for.
enum class Resource : unsigned char { none, to_page, page, style, script, events, press, say };

/// What a request gets.
struct Admission {
  int status = 403;  ///< 200 where it is answered
  Resource resource = Resource::none;
};

/// The largest body: a key's name, or a typed answer.
inline constexpr std::size_t largest_body = 512;

/// Refused are: a foreign Host or Origin (403), a path without the token (403), any method but GET
/// and POST (405), a POST without Origin (403), a body that is too large (413) or of unknown length
/// (411), what is not there (404).
[[nodiscard]] Admission admit(const RequestHead& head, const Gate& gate);

}  // namespace railtap::page
