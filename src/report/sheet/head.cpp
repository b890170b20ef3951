// SPDX-License-Identifier: MIT
// The top of the setup sheet: whose it is, the volume limit, and the chain.
#include <algorithm>
#include <cctype>

#include "report/markup.hpp"
#include "report/sheet/parts.hpp"
#include "report/svg/plot.hpp"
#include "report/words.hpp"

namespace railtap::report {
namespace {

/// "2026-11-25T16:10:00Z", as the record writes it.
bool is_time(const std::string& text) {
  const std::string shape = "dddd-dd-ddTdd:dd:ddZ";
  if (text.size() != shape.size()) return false;
  return std::equal(text.begin(), text.end(), shape.begin(), [](char c, char s) {
    return s == 'd' ? std::isdigit(static_cast<unsigned char>(c)) != 0 : c == s;
  });
}

JsonView last_time(const JsonView& record) {
  const std::size_t count = record["entries"].size();
  return count == 0 ? record["created"] : record["entries"][count - 1]["time"];
}

std::string volume_box(const JsonView& record) {
  const VolumeLimit limit = volume_limit(record);
  std::string out = "<p class=\"limit\"><span class=\"label\">Volume limit</span> ";
  if (!limit.step.known() && limit.level_v.known()) {
    return out + "<b>" + marked(volts(limit.level_v)) +
           "</b> <span class=\"label\">its number is not noted here</span></p>\n";
  }
  if (!limit.step.known()) return out + "<b class=\"unknown\">not measured</b></p>\n";
  out += "<b>" + marked(plain(limit.step)) + "</b>";
  if (limit.steps.known()) out += " of " + marked(plain(limit.steps));
  if (limit.level_v.known())
    out += " <span class=\"label\">" + marked(volts(limit.level_v)) + "</span>";
  return out + "</p>\n";
}

// --- the chain -----------------------------------------------------------------------------------

constexpr double box_w = 118, box_h = 40, column_gap = 36, row_gap = 12;
constexpr std::size_t longest_box_word = 17;

struct Box {
  double x = 0, y = 0;
  std::string name, below;
};

std::string number(double value) {
  return svg::coordinate(value);
}

std::string box_svg(const Box& box) {
  const std::string x = number(box.x + 9);
  std::string out = "<rect class=\"box\" x=\"" + number(box.x) + "\" y=\"" + number(box.y) +
                    "\" width=\"" + number(box_w) + "\" height=\"" + number(box_h) + "\"/>\n";
  const bool two = !box.below.empty();
  out += "<text class=\"word\" x=\"" + x + "\" y=\"" + number(box.y + (two ? 17 : 24)) + "\">" +
         escaped(shortened(box.name, longest_box_word)) + "</text>\n";
  if (two) {
    out += "<text class=\"word quiet\" x=\"" + x + "\" y=\"" + number(box.y + 33) + "\">" +
           escaped(shortened(box.below, longest_box_word)) + "</text>\n";
  }
  return out;
}

/// From the right side of one to the left side of the other, square at the corners.
std::string wire(const Box& from, const Box& to) {
  const double x1 = from.x + box_w, y1 = from.y + box_h / 2, y2 = to.y + box_h / 2;
  const double turn = x1 + column_gap / 2;
  return "<path class=\"wire\" d=\"M" + number(x1) + " " + number(y1) + "H" + number(turn) + "V" +
         number(y2) + "H" + number(to.x) + "\"/>\n<circle class=\"joint\" cx=\"" + number(to.x) +
         "\" cy=\"" + number(y2) + "\" r=\"3\"/>\n";
}

struct Chain {
  Box head;
  struct Branch {
    Box amplifier;
    std::vector<Box> speakers;
  };
  std::vector<Branch> branches;
};

std::vector<std::string> output_subjects(const std::vector<RecordRow>& rows) {
  std::vector<std::string> subjects;
  for (const RecordRow& row : rows) {
    if (row.source) continue;
    if (std::find(subjects.begin(), subjects.end(), row.subject) == subjects.end()) {
      subjects.push_back(row.subject);
    }
  }
  return subjects;
}

std::string or_else(const std::string& text, const char* other) {
  return text.empty() ? other : text;
}

/// As the system is described; without a description, one amplifier with what was measured.
Chain chain_of(const SheetContent& content) {
  const JsonView system = content.record["system"];
  Chain chain;
  chain.head.name = or_else(system["head_unit"]["name"].text(), "Head unit");
  for (const JsonView& amplifier : system["amplifier"].elements()) {
    Chain::Branch branch;
    branch.amplifier.name = or_else(amplifier["name"].text(), "Amplifier");
    for (const JsonView& channel : amplifier["channel"].elements()) {
      branch.speakers.push_back(
          {0, 0, or_else(channel["name"].text(), "Output"), channel["speaker"].text()});
    }
    chain.branches.push_back(branch);
  }
  if (!chain.branches.empty()) return chain;
  Chain::Branch branch;
  branch.amplifier.name = "Amplifiers";
  for (const std::string& subject : output_subjects(content.rows)) {
    branch.speakers.push_back({0, 0, or_else(subject, "Output"), ""});
  }
  chain.branches.push_back(branch);
  return chain;
}

/// \returns the height
double lay_out(Chain& chain) {
  double y = 2;
  for (Chain::Branch& branch : chain.branches) {
    const double first = y;
    for (Box& speaker : branch.speakers) {
      speaker.x = 2 + 2 * (box_w + column_gap);
      speaker.y = y;
      y += box_h + row_gap;
    }
    if (branch.speakers.empty()) y += box_h + row_gap;
    branch.amplifier.x = 2 + box_w + column_gap;
    branch.amplifier.y = (first + y - row_gap - box_h) / 2;
  }
  chain.head.x = 2;
  chain.head.y = (2 + y - row_gap - box_h) / 2;
  return y - row_gap + 2;
}

std::string chain_words(const Chain& chain) {
  std::string words = chain.head.name + " plays into ";
  for (const Chain::Branch& branch : chain.branches) {
    if (&branch != &chain.branches.front()) words += "; and into ";
    words += branch.amplifier.name + ", which drives";
    for (const Box& speaker : branch.speakers) words += " " + speaker.name + ",";
    if (branch.speakers.empty()) words += " nothing that is described,";
    words.pop_back();
  }
  return shortened(words + ".", 600);
}

}  // namespace

std::string row_name_text(const RecordRow& row) {
  std::string name = shortened(row.subject, longest_label);
  if (name.empty()) name = row.source ? "head unit" : "unnamed output";
  const auto channel = row.number.number();
  if (row.alone || !channel) return name;
  return name + ", channel " + plain(row.number).shown;
}

std::string row_name_html(const RecordRow& row) {
  std::string name = row.subject.empty() ? std::string(row.source ? "head unit" : "unnamed output")
                                         : isolated(shortened(row.subject, longest_label));
  if (row.alone || !row.number.known()) return name;
  return name + ", channel " + marked(plain(row.number));
}

std::string time_html(const JsonView& time) {
  const std::string text = time.text();
  if (text.empty()) return "<span class=\"unknown\">time unknown</span>";
  if (!is_time(text)) return isolated(shortened(text, longest_label));
  return "<time datetime=\"" + text + "\">" + text.substr(0, 10) + " " + text.substr(11, 5) +
         " UTC</time>";
}

std::string head_part(const SheetContent& content) {
  const std::string name = content.record["name"].text();
  return "<header>\n<div>\n<p class=\"kind\">Setup sheet</p>\n<h1>" +
         (name.empty() ? "Unnamed job" : isolated(name)) + "</h1>\n<p class=\"when\">Begun " +
         time_html(content.record["created"]) + ", last entry " +
         time_html(last_time(content.record)) + "</p>\n</div>\n" + volume_box(content.record) +
         "</header>\n";
}

std::string diagram_part(const SheetContent& content) {
  Chain chain = chain_of(content);
  const double height = lay_out(chain);
  std::string out =
      "<figure class=\"chain\">\n<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 430 " +
      number(height) + "\" role=\"img\">\n<title>The chain</title>\n<desc>" +
      escaped(chain_words(chain)) + "</desc>\n";
  for (const Chain::Branch& branch : chain.branches) {
    out += wire(chain.head, branch.amplifier);
    for (const Box& speaker : branch.speakers) out += wire(branch.amplifier, speaker);
  }
  out += box_svg(chain.head);
  for (const Chain::Branch& branch : chain.branches) {
    out += box_svg(branch.amplifier);
    for (const Box& speaker : branch.speakers) out += box_svg(speaker);
  }
  out += "</svg>\n<figcaption>";
  out += content.record["system"].known()
             ? "The chain, as the record describes it."
             : "The chain as far as the record knows it; the system is not described.";
  return out + "</figcaption>\n</figure>\n";
}

}  // namespace railtap::report
