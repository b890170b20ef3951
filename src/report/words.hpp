// SPDX-License-Identifier: MIT
// A document's numbers as a person reads them, each with the place that it came from.
#pragma once

#include <string>

#include "system/json.hpp"

namespace railtap::report {

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

}  // namespace railtap::report
