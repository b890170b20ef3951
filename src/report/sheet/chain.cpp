// SPDX-License-Identifier: MIT
// The picture of the chain: head unit, amplifiers, outputs, each with its whole name.
#include <algorithm>
#include <utility>

#include "report/sheet/parts.hpp"
#include "report/svg/plot.hpp"
#include "report/words.hpp"
#include "units/print.hpp"

namespace railtap::report {
namespace {

constexpr double box_w = 136, column_gap = 30, row_gap = 12;
constexpr double margin = 9, line_height = 15, first_line = 17, last_line = 9;
constexpr double most_width = 18.5;           // of a line, in widths of a small letter
constexpr std::size_t longest_last_line = 8;  // characters, where more follows
constexpr std::size_t most_lines = 5;         // longer names are written out below the picture

/// One box: the name in lines, and what is below it from line `quiet_from` on.
struct Box {
  double x = 0, y = 0;
  std::vector<std::string> lines;
  std::size_t quiet_from = 0;
  [[nodiscard]] double height() const {
    return first_line +
           line_height * static_cast<double>(std::max<std::size_t>(1, lines.size()) - 1) +
           last_line + 6;
  }
  [[nodiscard]] double middle() const { return y + height() / 2; }
};

struct Chain {
  Box head;
  struct Branch {
    Box amplifier;
    std::vector<Box> speakers;
  };
  std::vector<Branch> branches;
  std::vector<std::string> too_long;  // names that do not fit into a box
};

// --- names in lines ------------------------------------------------------------------------------

/// Roughly, in widths of a small letter: capitals are wider, and most scripts beyond Latin, Greek
/// and Cyrillic have signs of two.
double width_of(std::string_view character) {
  const auto first = static_cast<unsigned char>(character.front());
  if (character.size() >= 3) return 2.0;
  if ((first >= 'A' && first <= 'Z') || first == 'm' || first == 'w') return 1.4;
  return 1.0;
}

struct Wrapping {
  std::vector<std::string> lines;
  std::string line;
  double width = 0.0;

  void end_line() {
    if (!line.empty()) lines.push_back(std::exchange(line, ""));
    width = 0.0;
  }
  void add(std::string_view character) {
    if (width + width_of(character) > most_width) end_line();
    line += character;
    width += width_of(character);
  }
};

double width_of_text(std::string_view text) {
  double width = 0.0;
  for (std::size_t at = 0; at < text.size();) {
    const std::size_t length = std::max<std::size_t>(1, character_length(text, at));
    width += width_of(text.substr(at, length));
    at += length;
  }
  return width;
}

void add_word(Wrapping& to, std::string_view word) {
  const double room = most_width - to.width - (to.line.empty() ? 0.0 : 1.0);
  if (width_of_text(word) > room) {
    to.end_line();
  } else if (!to.line.empty()) {
    to.add(" ");
  }
  for (std::size_t at = 0; at < word.size();) {
    const std::size_t length = std::max<std::size_t>(1, character_length(word, at));
    to.add(word.substr(at, length));
    at += length;
  }
}

/// The text in lines that fit into a box; words that are longer than one are broken.
std::vector<std::string> wrapped_name(const std::string& text) {
  Wrapping wrapping;
  for (std::size_t at = 0; at <= text.size();) {
    const std::size_t end = std::min(text.find(' ', at), text.size());
    if (end > at) add_word(wrapping, std::string_view(text).substr(at, end - at));
    at = end + 1;
    if (wrapping.lines.size() > most_lines) break;
  }
  wrapping.end_line();
  return wrapping.lines;
}

/// Puts a name into a box; what does not fit is cut there, and kept whole for below the picture.
void put(Box& box, const std::string& text, Chain& chain) {
  std::vector<std::string> lines = wrapped_name(text);
  if (lines.size() > most_lines) {
    lines.resize(most_lines);
    const std::string last = shortened(lines.back(), longest_last_line);
    lines.back() = last == lines.back() ? last + "\u2026" : last;
    chain.too_long.push_back(text);
  }
  box.lines.insert(box.lines.end(), lines.begin(), lines.end());
}

Box named_box(const std::string& name, const std::string& below, Chain& chain) {
  Box box;
  put(box, name, chain);
  box.quiet_from = box.lines.size();
  if (!below.empty()) put(box, below, chain);
  return box;
}

// --- what is connected to what -------------------------------------------------------------------

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
  chain.head = named_box(or_else(system["head_unit"]["name"].text(), "Head unit"), "", chain);
  for (const JsonView& amplifier : system["amplifier"].elements()) {
    Chain::Branch branch;
    branch.amplifier = named_box(or_else(amplifier["name"].text(), "Amplifier"), "", chain);
    for (const JsonView& channel : amplifier["channel"].elements()) {
      branch.speakers.push_back(
          named_box(or_else(channel["name"].text(), "Output"), channel["speaker"].text(), chain));
    }
    chain.branches.push_back(branch);
  }
  if (!chain.branches.empty()) return chain;
  Chain::Branch branch;
  branch.amplifier = named_box("Amplifiers", "", chain);
  for (const std::string& subject : output_subjects(content.rows)) {
    branch.speakers.push_back(named_box(or_else(subject, "Output"), "", chain));
  }
  chain.branches.push_back(branch);
  return chain;
}

// --- drawing -------------------------------------------------------------------------------------

std::string number(double value) {
  return svg::coordinate(value);
}

std::string box_svg(const Box& box) {
  std::string out = "<rect class=\"box\" x=\"" + number(box.x) + "\" y=\"" + number(box.y) +
                    "\" width=\"" + number(box_w) + "\" height=\"" + number(box.height()) +
                    "\"/>\n";
  for (std::size_t i = 0; i < box.lines.size(); ++i) {
    const double y = box.y + first_line + line_height * static_cast<double>(i) + 3;
    out += std::string("<text class=\"word") + (i >= box.quiet_from ? " quiet" : "") + "\" x=\"" +
           number(box.x + margin) + "\" y=\"" + number(y) + "\">" + escaped(box.lines[i]) +
           "</text>\n";
  }
  return out;
}

/// From the right side of one to the left side of the other, square at the corners.
std::string wire(const Box& from, const Box& to) {
  const double x1 = from.x + box_w, y1 = from.middle(), y2 = to.middle();
  const double turn = x1 + column_gap / 2;
  return "<path class=\"wire\" d=\"M" + number(x1) + " " + number(y1) + "H" + number(turn) + "V" +
         number(y2) + "H" + number(to.x) + "\"/>\n<circle class=\"joint\" cx=\"" + number(to.x) +
         "\" cy=\"" + number(y2) + "\" r=\"3\"/>\n";
}

/// \returns the height
double lay_out(Chain& chain) {
  double y = 2;
  for (Chain::Branch& branch : chain.branches) {
    const double first = y;
    for (Box& speaker : branch.speakers) {
      speaker.x = 2 + 2 * (box_w + column_gap);
      speaker.y = y;
      y += speaker.height() + row_gap;
    }
    const double height = branch.amplifier.height();
    y = std::max(y, first + height + row_gap);
    branch.amplifier.x = 2 + box_w + column_gap;
    branch.amplifier.y = (first + y - row_gap - height) / 2;
  }
  y = std::max(y, 2 + chain.head.height() + row_gap);
  chain.head.x = 2;
  chain.head.y = (2 + y - row_gap - chain.head.height()) / 2;
  return y - row_gap + 2;
}

std::string in_words(const Box& box) {
  std::string text;
  for (std::size_t i = 0; i < std::min(box.quiet_from, box.lines.size()); ++i)
    text += (i == 0 ? "" : " ") + box.lines[i];
  return text;
}

std::string chain_words(const Chain& chain) {
  std::string words = in_words(chain.head) + " plays into ";
  for (const Chain::Branch& branch : chain.branches) {
    if (&branch != &chain.branches.front()) words += "; and into ";
    words += in_words(branch.amplifier) + ", which drives";
    for (const Box& speaker : branch.speakers) words += " " + in_words(speaker) + ",";
    if (branch.speakers.empty()) words += " nothing that is described,";
    words.pop_back();
  }
  return shortened(words + ".", 600);
}

std::string written_out(std::vector<std::string> names) {
  std::sort(names.begin(), names.end());
  names.erase(std::unique(names.begin(), names.end()), names.end());
  std::string out;
  for (const std::string& name : names) out += "<li>" + isolated(name) + "</li>\n";
  return out.empty() ? "" : "<ul class=\"small\">\n" + out + "</ul>\n";
}

}  // namespace

std::string diagram_part(const SheetContent& content) {
  Chain chain = chain_of(content);
  const double height = lay_out(chain);
  constexpr double width = 3 * box_w + 2 * column_gap + 4;
  std::string out =
      "<section class=\"chain-part\">\n<h2>The chain</h2>\n<figure class=\"chain\">\n"
      "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 " +
      number(width) + " " + number(height) + "\" role=\"img\">\n<title>The chain</title>\n<desc>" +
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
             ? "As the record describes it."
             : "As far as the record knows it; the system is not described.";
  return out + "</figcaption>\n</figure>\n" + written_out(chain.too_long) + "</section>\n";
}

}  // namespace railtap::report
