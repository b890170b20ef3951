// SPDX-License-Identifier: MIT
// What marks the sheet of a rehearsal: a word on every page, and the faults of the virtual car.
#include "report/markup.hpp"
#include "report/sheet/parts.hpp"

namespace railtap::report {
namespace {

constexpr std::size_t longest_fault = 200;

}  // namespace

std::string rehearsal_part(const SheetContent& content) {
  const JsonView rehearsal = content.record["rehearsal"];
  if (!rehearsal.known()) return "";
  std::string html =
      "<p class=\"rehearsal\" aria-hidden=\"true\">REHEARSAL</p>\n"
      "<section class=\"rehearsed\"><h2>REHEARSAL</h2>\n<p>All of this was measured on a virtual "
      "car, <bdi>" +
      escaped(shortened(rehearsal["car"].text(), longest_label)) + "</bdi>, seed " +
      marked(plain(rehearsal["seed"])) + ". None of it is true of a real one.</p>\n<ul>\n";
  for (const JsonView& fault : rehearsal["faults"].elements()) {
    html += "<li><bdi>" + escaped(shortened(fault["words"].text(), longest_fault)) + "</bdi>: " +
            (fault["found"].flag().value_or(false) ? "found and put right" : "not found") +
            ".</li>\n";
  }
  return html + "</ul></section>\n";
}

}  // namespace railtap::report
