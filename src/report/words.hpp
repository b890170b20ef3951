// SPDX-License-Identifier: MIT
// Words, states and figures as all documents have them; text made fit for markup.
#pragma once

#include <string>
#include <string_view>

#include "system/json.hpp"
#include "units/visible.hpp"

namespace railtap::report {

// A document's numbers as a person reads them, each with the place that it came from.

using system::JsonView;

/// A number that is shown. Where the document has none, `shown` is "not measured" and `known`
/// false.
struct Shown {
  std::string shown;  ///< "14.78 V"
  std::string value;  ///< as the document has it
  std::string pointer;
  bool known = false;
};

/// The number at a place, with the unit of the function's name: volts, watts, ohms and hertz in
/// four digits with a prefix, dBFS with one decimal, percent in two digits.
[[nodiscard]] Shown volts(const JsonView& place);
[[nodiscard]] Shown watts(const JsonView& place);
[[nodiscard]] Shown ohms(const JsonView& place);
[[nodiscard]] Shown hertz(const JsonView& place);
[[nodiscard]] Shown decibels(const JsonView& place);         ///< two decimals
[[nodiscard]] Shown overdrive(const JsonView& place);        ///< the same, or "more than 20 dB"
[[nodiscard]] Shown fine_decibels(const JsonView& place);    ///< three decimals
[[nodiscard]] Shown signed_decibels(const JsonView& place);  ///< two, and a plus sign
[[nodiscard]] Shown dbfs(const JsonView& place);
[[nodiscard]] Shown percent(const JsonView& place);
[[nodiscard]] Shown travel(const JsonView& place);  ///< percent of a control's, three digits
[[nodiscard]] Shown plain(const JsonView& place);   ///< without a unit

/// The number in HTML, as a `data` element that names its value and its place in the record.
[[nodiscard]] std::string marked(const Shown& number);

/// What stands above a channel's results, for a terminal: "front right"; "Channel 2" where it has
/// no name.
[[nodiscard]] std::string channel_heading(const std::string& name, int number);

/// A channel's name in a document, or null.
[[nodiscard]] system::Json name_json(const std::string& name);

// Text that anybody may have written, put into HTML or SVG so that it stays text.

/// Escapes what has a meaning in HTML and XML, in text and in quoted attributes. Control
/// characters, which XML forbids, and what is not UTF-8 become U+FFFD.
[[nodiscard]] std::string escaped(std::string_view text);

/// At most `most` characters, the last one an ellipsis where something was left out. UTF-8.
[[nodiscard]] std::string shortened(std::string_view text, std::size_t most);

/// The escaped text, its direction of writing kept to itself.
[[nodiscard]] std::string isolated(std::string_view text);

/// railtap::visible, by the name that reports have for it.
[[nodiscard]] inline std::string printable(std::string_view text) {
  return visible(text);
}

}  // namespace railtap::report
