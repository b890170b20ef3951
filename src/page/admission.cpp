// SPDX-License-Identifier: MIT
// Which requests the page's server answers, decided from their first lines alone, and the secret
// part of its address.
#include "page/admission.hpp"

#include <algorithm>
#include <array>
#include <cerrno>
#include <cstdint>
#include <system_error>

#include <sys/random.h>

#include "units/error.hpp"

namespace railtap::page {

// Random bytes as text, and their comparison.

namespace {

constexpr std::size_t token_bytes = 16;
constexpr std::string_view alphabet =
    "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_";

std::array<unsigned char, token_bytes> random_bytes() {
  std::array<unsigned char, token_bytes> bytes{};
  for (std::size_t have = 0; have < bytes.size();) {
    const ssize_t got = getrandom(bytes.data() + have, bytes.size() - have, 0);
    if (got < 0 && errno == EINTR) continue;
    if (got <= 0) {
      throw Error("the system gives no random numbers: " + std::generic_category().message(errno),
                  "--page", "watch without --page");
    }
    have += static_cast<std::size_t>(got);
  }
  return bytes;
}

}  // namespace

std::string make_token() {
  constexpr unsigned bits_of_character = 6;
  std::string token;
  std::uint32_t held = 0;
  unsigned bits = 0;
  for (const unsigned char byte : random_bytes()) {
    held = (held << 8U) | byte;
    for (bits += 8; bits >= bits_of_character;) {
      bits -= bits_of_character;
      token += alphabet[(held >> bits) & 63U];
    }
  }
  if (bits > 0) token += alphabet[(held << (bits_of_character - bits)) & 63U];
  return token;
}

bool same_secret(std::string_view given, std::string_view secret) {
  if (secret.empty()) return false;
  // volatile: the compiler must not stop at the first difference either.
  volatile unsigned char difference = given.size() == secret.size() ? 0 : 1;
  for (std::size_t i = 0; i < given.size(); ++i) {
    const auto a = static_cast<unsigned char>(given[i]);
    const auto b = static_cast<unsigned char>(secret[i % secret.size()]);
    difference = static_cast<unsigned char>(difference | (a ^ b));
  }
  return difference == 0;
}

// The checks of a request's first lines.

namespace {

constexpr int see_other = 303, forbidden = 403, not_found = 404, wrong_method = 405,
              length_required = 411, too_large = 413;

bool is_own_host(const RequestHead& head, const Gate& gate) {
  return head.host.size() == 1 &&
         std::find(gate.hosts.begin(), gate.hosts.end(), head.host.front()) != gate.hosts.end();
}

// A browser names the page that a request comes from wherever that could be another's [Fetch, 3.2].
bool is_own_origin(const RequestHead& head, const Gate& gate) {
  if (head.origin.empty()) return head.method != "POST";
  return head.origin.size() == 1 &&
         std::any_of(gate.hosts.begin(), gate.hosts.end(), [&](const std::string& host) {
           return head.origin.front() == "http://" + host;
         });
}

struct Named {
  std::string_view method, name;
  Resource resource;
};
constexpr Named resources[] = {
    {"GET", "", Resource::page},          {"GET", "page.css", Resource::style},
    {"GET", "page.js", Resource::script}, {"GET", "events", Resource::events},
    {"POST", "press", Resource::press},   {"POST", "say", Resource::say},
};

Admission find(std::string_view method, std::string_view name) {
  bool other_method = false;
  for (const Named& entry : resources) {
    if (entry.name != name) continue;
    if (entry.method == method) return {200, entry.resource};
    other_method = true;
  }
  return {other_method ? wrong_method : not_found, Resource::none};
}

}  // namespace

Admission admit(const RequestHead& head, const Gate& gate) {
  if (!is_own_host(head, gate) || !is_own_origin(head, gate)) return {forbidden, Resource::none};
  if (head.method != "GET" && head.method != "POST") return {wrong_method, Resource::none};
  if (head.path == "/" && head.method == "GET" && gate.loopback)
    return {see_other, Resource::to_page};
  std::string_view path = head.path;
  if (!path.starts_with('/')) return {forbidden, Resource::none};
  path.remove_prefix(1);
  const std::size_t slash = path.find('/');
  if (!same_secret(path.substr(0, slash), gate.token) || slash == std::string_view::npos)
    return {forbidden, Resource::none};
  if (head.has_transfer_coding || (head.method == "POST" && !head.content_length))
    return {length_required, Resource::none};
  if (head.content_length.value_or(0) > largest_body) return {too_large, Resource::none};
  return find(head.method, path.substr(slash + 1));
}

}  // namespace railtap::page
