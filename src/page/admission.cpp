// SPDX-License-Identifier: MIT
// The checks of a request's first lines.
#include "page/admission.hpp"

#include <algorithm>

#include "page/token.hpp"

namespace railtap::page {
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
