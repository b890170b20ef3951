// SPDX-License-Identifier: MIT
// A written kit of test tones: the list on the screen, the document, and the card beside the files.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "system/json.hpp"
#include "units/quantity.hpp"

namespace railtap::report {

/// One file of a kit.
struct ToneFile {
  std::string file, name, title;  ///< name: the track's, without number and ending
  std::string signal;             ///< in words
  std::string purpose, reading, caution;
  Seconds length{0.0};
  Dbfs level{0.0};                ///< the highest in the track; −infinity for silence
  std::optional<double> peak_fs;  ///< highest sample, once it is written
};

/// A kit as it was written, or would be. Tracks are in the kit's order.
struct ToneKit {
  std::string folder;  ///< empty when only listed
  std::string title;
  std::string encoding;  ///< as audio::encoding_name has it
  Hertz rate{0.0};
  std::vector<ToneFile> files;
  std::vector<std::string> cards;  ///< file names of the card
  std::vector<std::string> notes;  ///< on the encoding
};

/// A table with one line per file.
[[nodiscard]] std::string tone_kit_text(const ToneKit& kit);

/// `railtap.tones/1`.
[[nodiscard]] system::Json tone_kit_json(const ToneKit& kit);

/// The card as plain text, and as one self-contained HTML page that prints on paper.
[[nodiscard]] std::string tone_card_text(const ToneKit& kit);
[[nodiscard]] std::string tone_card_html(const ToneKit& kit);

/// What everybody has to know before the first tone, a sentence or two each.
[[nodiscard]] const std::vector<std::string>& tone_cautions();

}  // namespace railtap::report
