// SPDX-License-Identifier: MIT
// The list, the document and the card of a kit.
#include "report/tone_kit.hpp"

#include <doctest/doctest.h>

#include <limits>
#include <nlohmann/json.hpp>
#include <string>

#include "support/basics.hpp"

using namespace railtap;
using namespace railtap::report;

namespace {

ToneKit sample() {
  ToneKit kit;
  kit.folder = "stick";
  kit.title = "A <kit> & more";
  kit.encoding = "WAV, 16 bit";
  kit.rate = Hertz(44100);
  ToneFile tone{"01_a.wav", "a",       "Tone <a>",    "1 kHz at 0 dBFS", "What for",
                "Expected", "Careful", Seconds(60.0), Dbfs(0.0),         0.5};
  ToneFile silence = tone;
  silence.level = Dbfs(-std::numeric_limits<double>::infinity());
  silence.peak_fs = 0.0;
  kit.files = {tone, silence};
  kit.cards = {"card.txt", "card.html"};
  return kit;
}

bool contains(const std::string& text, const std::string& part) {
  return text.find(part) != std::string::npos;
}

}  // namespace

TEST_CASE("tone kit: the document has its schema, and null where silence has no level") {
  const auto document = nlohmann::json::parse(tone_kit_json(sample()).line());
  CHECK(document["schema"] == "railtap.tones/1");
  CHECK(document["sample_rate_hz"] == 44100.0);
  CHECK(document["tracks"][0]["level_dbfs"] == 0.0);
  CHECK(test::within_abs(document["tracks"][0]["peak_dbfs"], -6.0206, 1e-4));
  CHECK(document["tracks"][1]["level_dbfs"].is_null());
  CHECK(document["tracks"][1]["peak_dbfs"].is_null());
}

TEST_CASE("tone card: both forms say of each track what it is for, and carry every caution") {
  for (const std::string& card : {tone_card_text(sample()), tone_card_html(sample())}) {
    CHECK(contains(card, "01_a.wav"));
    CHECK(contains(card, "What for"));
    CHECK(contains(card, "Careful"));
    for (const std::string& caution : tone_cautions())
      CHECK(contains(card, caution.substr(0, caution.find(' '))));
    for (const char* word : {"hearing", "voice coil", "Tweeters", "airbag", "bridge-tied"})
      CHECK(contains(card, word));
  }
}

TEST_CASE("tone card: the page needs nothing from outside and escapes what it is given") {
  const std::string html = tone_card_html(sample());
  CHECK(contains(html, "A &lt;kit&gt; &amp; more"));
  CHECK(contains(html, "Tone &lt;a&gt;"));
  CHECK_FALSE(contains(html, "http"));
  CHECK_FALSE(contains(html, "<script"));
  CHECK_FALSE(contains(html, "src="));
}
