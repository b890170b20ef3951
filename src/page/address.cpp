// SPDX-License-Identifier: MIT
// Under which address other devices of the network reach this computer, and a text as a QR code
// [ISO/IEC 18004].
#include "page/address.hpp"

#include <array>
#include <cerrno>
#include <memory>
#include <optional>
#include <system_error>

#include <arpa/inet.h>
#include <ifaddrs.h>
#include <net/if.h>
#include <netinet/in.h>
#include <qrencode.h>
#include <sys/socket.h>
#include <unistd.h>

#include "units/error.hpp"

namespace railtap::page {

// The computer's own address, from its routes and its interfaces.

namespace {

std::string text_of(const in_addr& address) {
  std::array<char, INET_ADDRSTRLEN> text{};
  return inet_ntop(AF_INET, &address, text.data(), text.size()) == nullptr ? "" : text.data();
}

bool is_loopback(const in_addr& address) {
  constexpr std::uint32_t loopback_net = 127;  // RFC 1122, 3.2.1.3 (g)
  return ntohl(address.s_addr) >> 24U == loopback_net;
}

// A datagram socket that is connected has its own address chosen by the routes; nothing is sent.
std::optional<std::string> address_of_route() {
  const int fd = socket(AF_INET, SOCK_DGRAM | SOCK_CLOEXEC, 0);
  if (fd < 0) return std::nullopt;
  sockaddr_in far{};
  far.sin_family = AF_INET;
  far.sin_port = htons(9);                         // discard [RFC 863]
  inet_pton(AF_INET, "192.0.2.1", &far.sin_addr);  // for documents only [RFC 5737]
  sockaddr_in own{};
  socklen_t size = sizeof own;
  const bool known = connect(fd, reinterpret_cast<sockaddr*>(&far), sizeof far) == 0 &&
                     getsockname(fd, reinterpret_cast<sockaddr*>(&own), &size) == 0;
  close(fd);
  if (!known || own.sin_addr.s_addr == INADDR_ANY || is_loopback(own.sin_addr)) return std::nullopt;
  return text_of(own.sin_addr);
}

std::optional<std::string> address_of_interface() {
  ifaddrs* first = nullptr;
  if (getifaddrs(&first) != 0) return std::nullopt;
  const std::unique_ptr<ifaddrs, decltype(&freeifaddrs)> list(first, freeifaddrs);
  for (const ifaddrs* entry = first; entry != nullptr; entry = entry->ifa_next) {
    if (entry->ifa_addr == nullptr || entry->ifa_addr->sa_family != AF_INET) continue;
    if ((entry->ifa_flags & IFF_UP) == 0) continue;
    const auto& address = reinterpret_cast<const sockaddr_in*>(entry->ifa_addr)->sin_addr;
    if (!is_loopback(address)) return text_of(address);
  }
  return std::nullopt;
}

}  // namespace

std::string lan_address() {
  if (const auto address = address_of_route()) return *address;
  if (const auto address = address_of_interface()) return *address;
  throw Error("this computer is in no network", "--lan",
              "join the phone's own network (its hotspot), or leave --lan out");
}

// QR codes through libqrencode.

namespace {

constexpr std::size_t quiet_modules = 4;  // ISO/IEC 18004, 9.1

const char* text_of(char32_t block) {
  switch (block) {
    case U'\u2588':
      return "\u2588";
    case U'\u2580':
      return "\u2580";
    case U'\u2584':
      return "\u2584";
    default:
      return " ";
  }
}

}  // namespace

std::vector<std::vector<bool>> qr_modules(std::string_view text) {
  const auto bytes = reinterpret_cast<const unsigned char*>(text.data());
  // Level M: a screen seen at an angle, with dust on it, is still read.
  const std::unique_ptr<QRcode, decltype(&QRcode_free)> code(
      QRcode_encodeData(static_cast<int>(text.size()), bytes, 0, QR_ECLEVEL_M), QRcode_free);
  if (!code) {
    throw Error("no QR code can be made of it: " + std::generic_category().message(errno),
                std::string(text), "type the address into the phone");
  }
  const auto size = static_cast<std::size_t>(code->width);
  const std::size_t whole = size + 2 * quiet_modules;
  std::vector<std::vector<bool>> modules(whole, std::vector<bool>(whole, false));
  for (std::size_t row = 0; row < size; ++row) {
    for (std::size_t column = 0; column < size; ++column)  // bit 0 is the module's colour
      modules[row + quiet_modules][column + quiet_modules] =
          (code->data[row * size + column] & 1U) != 0;
  }
  return modules;
}

char32_t half_block(bool upper, bool lower) {
  if (upper && lower) return U'\u2588';
  if (upper) return U'\u2580';
  return lower ? U'\u2584' : U' ';
}

std::string qr_text(std::string_view text, bool colour) {
  const auto modules = qr_modules(text);
  std::string lines;
  for (std::size_t row = 0; row < modules.size(); row += 2) {
    if (colour) lines += "\x1B[30;107m";  // black on bright white [ECMA-48, 8.3.117]
    for (std::size_t column = 0; column < modules.size(); ++column) {
      const bool upper = modules[row][column];
      const bool lower = row + 1 < modules.size() && modules[row + 1][column];
      // Without colours the ink is the terminal's light text.
      lines += text_of(colour ? half_block(upper, lower) : half_block(!upper, !lower));
    }
    lines += colour ? "\x1B[0m\n" : "\n";
  }
  return lines;
}

}  // namespace railtap::page
