// SPDX-License-Identifier: MIT
// Who is let in to the page, from the first lines of a request.
#include "page/admission.hpp"

#include <doctest/doctest.h>

namespace {

using namespace railtap;
using page::Gate;
using page::RequestHead;
using page::Resource;

const Gate gate{"secretsecretsecretsecr", {"127.0.0.1:61470", "localhost:61470"}, true};

RequestHead get(const std::string& path) {
  RequestHead head;
  head.method = "GET";
  head.path = path;
  head.host = {"127.0.0.1:61470"};
  return head;
}

RequestHead post(const std::string& path) {
  RequestHead head = get(path);
  head.method = "POST";
  head.origin = {"http://127.0.0.1:61470"};
  head.content_length = 3;
  return head;
}

const std::string root = "/secretsecretsecretsecr/";

TEST_CASE("admission: with the token, everything that there is") {
  CHECK(admit(get(root), gate).resource == Resource::page);
  CHECK(admit(get(root + "page.css"), gate).resource == Resource::style);
  CHECK(admit(get(root + "page.js"), gate).resource == Resource::script);
  CHECK(admit(get(root + "events"), gate).resource == Resource::events);
  CHECK(admit(post(root + "press"), gate).resource == Resource::press);
  CHECK(admit(post(root + "say"), gate).resource == Resource::say);
  CHECK(admit(get(root + "events"), gate).status == 200);
  CHECK(admit(get(root + "else"), gate).status == 404);
  CHECK(admit(get(root + "../page.css"), gate).status == 404);
}

TEST_CASE("admission: without the token, nothing, whatever is asked for") {
  for (const char* path : {"", "*", "//", "/page.css", "/events", "/secretsecretsecretsecr",
                           "/secretsecretsecretsecr2/", "/secretsecretsecretsec/",
                           "/SECRETsecretsecretsecr/", "http://127.0.0.1:61470/"}) {
    CAPTURE(path);
    CHECK(admit(get(path), gate).status == 403);
    CHECK(admit(post(path), gate).status == 403);
  }
  CHECK(admit(post("/"), gate).status == 403);
}

TEST_CASE(
    "admission: the short address leads to the page on this computer, and nowhere in a network") {
  CHECK(admit(get("/"), gate).status == 303);
  Gate open = gate;
  open.loopback = false;
  CHECK(admit(get("/"), open).status == 403);
  CHECK(admit(get(root), open).status == 200);
}

TEST_CASE("admission: a foreign name for this server is refused, and so are none and two") {
  for (const std::vector<std::string>& host : {std::vector<std::string>{},
                                               {"evil.example:61470"},
                                               {"127.0.0.1"},
                                               {"127.0.0.1:80"},
                                               {""},
                                               {"127.0.0.1:61470", "evil.example"},
                                               {"127.0.0.1:61470.evil.example"}}) {
    RequestHead head = get(root);
    head.host = host;
    CHECK(admit(head, gate).status == 403);
    head.path = "/";
    CHECK(admit(head, gate).status == 403);
  }
}

TEST_CASE("admission: another page's requests are refused; a press says where it comes from") {
  for (const std::vector<std::string>& origin :
       {std::vector<std::string>{"http://evil.example"},
        {"null"},
        {""},
        {"https://127.0.0.1:61470"},
        {"http://127.0.0.1:61471"},
        {"http://127.0.0.1:61470", "http://127.0.0.1:61470"}}) {
    RequestHead head = get(root);
    head.origin = origin;
    CHECK(admit(head, gate).status == 403);
    head = post(root + "press");
    head.origin = origin;
    CHECK(admit(head, gate).status == 403);
  }
  RequestHead silent = post(root + "press");
  silent.origin.clear();
  CHECK(admit(silent, gate).status == 403);
}

TEST_CASE("admission: methods, and the size of what comes") {
  for (const char* method : {"HEAD", "PUT", "DELETE", "OPTIONS", "PATCH", "TRACE", "get"}) {
    RequestHead head = post(root + "press");
    head.method = method;
    CHECK(admit(head, gate).status == 405);
  }
  CHECK(admit(get(root + "press"), gate).status == 405);
  CHECK(admit(post(root), gate).status == 405);
  RequestHead head = post(root + "press");
  head.content_length = page::largest_body;
  CHECK(admit(head, gate).status == 200);
  head.content_length = page::largest_body + 1;
  CHECK(admit(head, gate).status == 413);
  head.content_length.reset();
  CHECK(admit(head, gate).status == 411);
  head.content_length = 3;
  head.has_transfer_coding = true;
  CHECK(admit(head, gate).status == 411);
}

}  // namespace
