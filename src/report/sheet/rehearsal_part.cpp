// SPDX-License-Identifier: MIT
// What marks the sheet of a rehearsal: a word on every page, and the faults of the virtual car.
#include "report/markup.hpp"
#include "report/sheet/parts.hpp"

namespace railtap::report {
namespace {

constexpr std::size_t longest_fault = 200;

}  // namespace

bool is_rehearsal(const JsonView& record) {
  return record["rehearsal"].known();
}

// What the style sheet fixes to a place is printed there on every page.
std::string rehearsal_mark(const SheetContent& content) {
  const JsonView rehearsal = content.record["rehearsal"];
  if (!rehearsal.known()) return "";
  std::string car = "<bdi>" + escaped(shortened(rehearsal["car"].text(), longest_label)) + "</bdi>";
  if (rehearsal["seed"].known()) car += ", seed " + marked(plain(rehearsal["seed"]));
  return "<p class=\"rehearsal-across\" aria-hidden=\"true\">REHEARSAL</p>\n"
         "<p class=\"rehearsal\"><b>REHEARSAL</b> All of this was measured on a virtual car, " +
         car + ". None of it is true of a real one.</p>\n";
}

std::string rehearsal_part(const SheetContent& content) {
  std::string faults;
  for (const JsonView& fault : content.record["rehearsal"]["faults"].elements()) {
    faults += "<li><bdi>" + escaped(shortened(fault["words"].text(), longest_fault)) + "</bdi>: " +
              (fault["found"].flag().value_or(false) ? "found and put right" : "not found") +
              ".</li>\n";
  }
  if (faults.empty()) return "";
  return "<section class=\"rehearsed\">\n<h2>Faults of the virtual car</h2>\n<ul>\n" + faults +
         "</ul>\n</section>\n";
}

}  // namespace railtap::report
