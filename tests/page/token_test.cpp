// SPDX-License-Identifier: MIT
// The secret in the page's address.
#include "page/token.hpp"

#include <doctest/doctest.h>

#include <set>
#include <string>
#include <vector>

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
