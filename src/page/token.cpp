// SPDX-License-Identifier: MIT
// Random bytes as text, and their comparison.
#include "page/token.hpp"

#include <sys/random.h>

#include <array>
#include <cerrno>
#include <cstdint>
#include <system_error>

#include "units/error.hpp"

namespace railtap::page {
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

}  // namespace railtap::page
