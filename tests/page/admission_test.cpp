// SPDX-License-Identifier: MIT
// Who is let in to the page, from the first lines of a request.

#include <algorithm>
#include <set>
#include <string>
#include <vector>

#include <doctest/doctest.h>

#include "page/address.hpp"
#include "page/admission.hpp"

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

// The secret in the page's address.

namespace {

using namespace railtap::page;

TEST_CASE(
    "token: 22 characters of the URL-safe alphabet, never twice, with every character in every "
    "place") {
  // RFC 4648, 5. 128 bits are 21 characters of 6 bits and one of 2 bits, the last followed by
  // zeros.
  const std::string alphabet = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_";
  std::set<std::string> all;
  std::vector<std::set<char>> seen(22);
  for (int i = 0; i < 1000; ++i) {
    const std::string token = make_token();
    REQUIRE(token.size() == 22);
    CHECK(token.find_first_not_of(alphabet) == std::string::npos);
    all.insert(token);
    for (std::size_t k = 0; k < token.size(); ++k) seen[k].insert(token[k]);
  }
  CHECK(all.size() == 1000);
  // In a thousand draws one of 64 characters is missing once in 100 000 times (64·(63/64)^1000),
  // two never.
  for (std::size_t k = 0; k < 21; ++k) CHECK(seen[k].size() >= 63);
  CHECK(seen[21] == std::set<char>{'A', 'Q', 'g', 'w'});
}

TEST_CASE("token: only the whole secret is the same") {
  CHECK(same_secret("abcdef", "abcdef"));
  CHECK_FALSE(same_secret("abcdeg", "abcdef"));
  CHECK_FALSE(same_secret("bbcdef", "abcdef"));
  CHECK_FALSE(same_secret("abcde", "abcdef"));
  CHECK_FALSE(same_secret("abcdefa", "abcdef"));
  CHECK_FALSE(same_secret("abcdefabcdef", "abcdef"));  // compared with the secret over and over
  CHECK_FALSE(same_secret("", "abcdef"));
  CHECK_FALSE(same_secret("", ""));
  CHECK_FALSE(same_secret("a", ""));
  CHECK_FALSE(same_secret(std::string("abc\0ef", 6), "abcdef"));
}

}  // namespace

// The QR code's shape; tests/page/page_check.py reads what is in it.

namespace {

using namespace railtap::page;

// 21 bytes in level M need version 2 (26 bytes), of 25 modules [ISO/IEC 18004, table 7].
constexpr const char* text = "http://192.168.4.20/a";
constexpr std::size_t quiet = 4, size = 25;

TEST_CASE("QR code: as large as its version, four light modules around it") {
  const auto modules = qr_modules(text);
  REQUIRE(modules.size() == size + 2 * quiet);
  for (std::size_t row = 0; row < modules.size(); ++row) {
    REQUIRE(modules[row].size() == modules.size());
    for (std::size_t column = 0; column < modules.size(); ++column) {
      const bool outside =
          row < quiet || column < quiet || row >= quiet + size || column >= quiet + size;
      if (outside) CHECK_FALSE(modules[row][column]);
    }
  }
}

TEST_CASE("QR code: three finder patterns in their corners") {
  const auto modules = qr_modules(text);
  const char* pattern[7] = {"#######", "#     #", "# ### #", "# ### #",
                            "# ### #", "#     #", "#######"};
  for (const auto& [top, left] :
       {std::pair<std::size_t, std::size_t>{0, 0}, {0, size - 7}, {size - 7, 0}}) {
    for (std::size_t row = 0; row < 7; ++row) {
      for (std::size_t column = 0; column < 7; ++column)
        CHECK(modules[quiet + top + row][quiet + left + column] == (pattern[row][column] == '#'));
    }
  }
}

TEST_CASE(
    "QR code: two rows of modules to a line, dark on light with colours, inverted ink without") {
  CHECK(half_block(true, true) == U'█');
  CHECK(half_block(true, false) == U'▀');
  CHECK(half_block(false, true) == U'▄');
  CHECK(half_block(false, false) == U' ');
  const std::string plain = qr_text(text, false);
  CHECK(plain.find('\x1B') == std::string::npos);
  CHECK(plain.starts_with("█████████████████████████████████\n"));
  CHECK(std::count(plain.begin(), plain.end(), '\n') == 17);
  const std::string coloured = qr_text(text, true);
  CHECK(coloured.starts_with("\x1B[30;107m                                 \x1B[0m\n"));
}

TEST_CASE("QR code: what fits into no code is an error") {
  CHECK_THROWS((void)qr_modules(std::string(4000, 'x')));
}

}  // namespace
