// SPDX-License-Identifier: MIT
// Small labels to cut out and stick on: the volume mark, and each gain control's position and
// volts.
#include <algorithm>

#include "report/markup.hpp"
#include "report/sheet/parts.hpp"

namespace railtap::report {
namespace {

constexpr std::size_t longest_name = 40;

/// The channels of one gain control; a channel whose control is not known is by itself.
struct ControlRows {
  std::string name;
  std::vector<const RecordRow*> rows;
};

std::vector<ControlRows> controls_of(const std::vector<RecordRow>& rows) {
  std::vector<ControlRows> controls;
  for (const RecordRow& row : rows) {
    if (row.source) continue;
    const auto known = std::find_if(controls.begin(), controls.end(), [&](const ControlRows& c) {
      return !row.control.empty() && c.rows.front()->control == row.control;
    });
    if (known == controls.end()) {
      controls.push_back({row.control, {&row}});
    } else {
      known->rows.push_back(&row);
    }
  }
  return controls;
}

std::string name_html(const ControlRows& control) {
  return control.name.empty() ? row_name_html(*control.rows.front())
                              : isolated(shortened(control.name, longest_name));
}

std::string or_blank(const Shown& number) {
  return number.known ? marked(number) : "<span class=\"blank\">&#160;</span>";
}

/// One target where all channels have the same, else each with its name.
std::string targets(const ControlRows& control) {
  const JsonView first = control.rows.front()->target["target_v"];
  const bool same = std::all_of(control.rows.begin(), control.rows.end(), [&](const auto* row) {
    return row->target["target_v"].number() == first.number();
  });
  if (same) return "<p>target <b>" + or_blank(volts(first)) + "</b></p>\n";
  std::string out;
  for (const RecordRow* row : control.rows) {
    out += "<p>" + row_name_html(*row) + " <b>" + or_blank(volts(row->target["target_v"])) +
           "</b></p>\n";
  }
  return out;
}

std::string tone(const ControlRows& control) {
  const JsonView frequency = control.rows.front()->reached["frequency_hz"];
  return frequency.known() ? "<p>tone " + marked(hertz(frequency)) + "</p>\n" : "";
}

/// A position in percent, a remark in the person's own words, or a place to write one.
std::string gain(const RecordRow& row) {
  const std::string known = gain_html(row);
  if (known.empty()) return "<p>gain at <span class=\"blank\">&#160;</span></p>\n";
  return row.gain_percent.known() ? "<p>gain at <b>" + known + "</b></p>\n"
                                  : "<p>" + known + "</p>\n";
}

std::string tag(const std::string& name, const std::string& content, bool rehearsal) {
  return "<div class=\"tag\">\n<h3>" + name + "</h3>\n" + content +
         (rehearsal ? "<p class=\"small\">REHEARSAL</p>\n" : "") + "</div>\n";
}

}  // namespace

std::string labels_part(const SheetContent& content) {
  const bool rehearsal = is_rehearsal(content.record);
  const VolumeLimit limit = volume_limit(content.record);
  std::string tags =
      tag("Volume", "<p>up to <b class=\"big\">" + or_blank(plain(limit.step)) + "</b></p>\n",
          rehearsal);
  for (const ControlRows& control : controls_of(content.rows)) {
    tags += tag(name_html(control), gain(*control.rows.front()) + targets(control) + tone(control),
                rehearsal);
  }
  return "<section class=\"labels\">\n<h2>Labels to cut out and stick on</h2>\n"
         "<div class=\"tags\">\n" +
         tags +
         "</div>\n<p class=\"small\">Gain positions are shares of the control's travel; volts are "
         "read at the amplifier's output, with the volume at its mark and the set-up tone.</p>\n"
         "</section>\n";
}

}  // namespace railtap::report
