// SPDX-License-Identifier: MIT
// The computer's own address, from its routes and its interfaces.
#include "page/lan_address.hpp"

#include <arpa/inet.h>
#include <ifaddrs.h>
#include <net/if.h>
#include <netinet/in.h>
#include <sys/socket.h>
#include <unistd.h>

#include <array>
#include <memory>
#include <optional>

#include "units/error.hpp"

namespace railtap::page {
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

}  // namespace railtap::page
