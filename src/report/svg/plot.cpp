// SPDX-License-Identifier: MIT
// Choosing round values for an axis.
#include "report/svg/plot.hpp"

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>
#include <optional>

#include "report/words.hpp"

namespace railtap::report::svg {
namespace {

constexpr std::array<double, 3> round_values{1.0, 2.0, 5.0};

/// The smallest 1, 2 or 5 times a power of ten that is not below a value > 0.
double round_up(double value) {
  const double decade = std::pow(10.0, std::floor(std::log10(value)));
  for (const double factor : round_values) {
    if (factor * decade >= value * (1.0 - 1e-9)) return factor * decade;
  }
  return 10.0 * decade;
}

double round_down(double value) {
  const double decade = std::pow(10.0, std::floor(std::log10(value)));
  for (auto factor = round_values.rbegin(); factor != round_values.rend(); ++factor) {
    if (*factor * decade <= value * (1.0 + 1e-9)) return *factor * decade;
  }
  return decade;
}

std::string fixed(double value, int decimals) {
  std::array<char, 64> buffer{};
  const auto end = std::to_chars(buffer.data(), buffer.data() + buffer.size(), value,
                                 std::chars_format::fixed, decimals);
  std::string text(buffer.data(), end.ptr);
  const bool zero = text.find_first_of("123456789") == std::string::npos;
  if (zero && text.front() == '-') text.erase(0, 1);
  if (text.front() == '-') text.replace(0, 1, "\u2212");
  return text;
}

/// Decimals that a multiple of `step` needs.
int decimals_of(double step) {
  return std::max(0, static_cast<int>(-std::floor(std::log10(step) + 1e-9)));
}

std::string label_of(double value) {
  constexpr double kilo = 1000.0;
  if (value >= kilo) return fixed(value / kilo, 0) + "k";
  return fixed(value, decimals_of(value));
}

std::vector<Tick> linear_ticks(const Axis& axis, int most) {
  const double step = axis.step > 0.0 ? axis.step : round_up((axis.high - axis.low) / most);
  std::vector<Tick> out;
  const auto first = static_cast<int>(std::ceil(axis.low / step - 1e-6));
  const auto last = static_cast<int>(std::floor(axis.high / step + 1e-6));
  for (int i = first; i <= last; ++i) out.push_back({i * step, fixed(i * step, decimals_of(step))});
  return out;
}

/// Marks at 1, 2 and 5 where they fit, else at 1 only.
std::vector<Tick> logarithmic_ticks(const Axis& axis, int most) {
  const double decades = std::log10(axis.high / axis.low);
  const bool all = decades * static_cast<double>(round_values.size()) <= most;
  std::vector<Tick> out;
  const auto first = static_cast<int>(std::floor(std::log10(axis.low)));
  for (int power = first; std::pow(10.0, power) <= axis.high * 1.001; ++power) {
    for (const double factor : round_values) {
      const double value = factor * std::pow(10.0, power);
      const bool inside = value >= axis.low * 0.999 && value <= axis.high * 1.001;
      if (inside && (all || factor == 1.0)) out.push_back({value, label_of(value)});
    }
  }
  return out;
}

}  // namespace

double Axis::share(double value) const {
  const bool log = scale == Scale::logarithmic;
  if (log && value <= 0.0) return 0.0;
  const double place =
      log ? std::log(value / low) / std::log(high / low) : (value - low) / (high - low);
  return std::clamp(place, 0.0, 1.0);
}

std::vector<Tick> ticks(const Axis& axis, int most) {
  return axis.scale == Scale::linear ? linear_ticks(axis, most) : logarithmic_ticks(axis, most);
}

Axis linear_axis(std::string label, std::span<const double> values) {
  Axis axis{std::move(label), Scale::linear, 0.0, 1.0, 0.0};
  if (values.empty()) return axis;
  const auto [low, high] = std::minmax_element(values.begin(), values.end());
  constexpr double parts = 4.0;
  const double size = std::max(std::abs(*low), std::abs(*high));
  // Of a single value, a tenth of it; else no axis could be told from its label.
  const double range = *high > *low ? *high - *low : 0.1 * size;
  const double step = round_up(std::max({range / parts, 1e-3 * size, 1e-12}));
  axis.low = step * std::floor(*low / step);
  axis.high = step * std::ceil(*high / step);
  if (axis.high < *high) axis.high += step;  // rounding
  if (axis.low > *low) axis.low -= step;
  if (axis.high <= axis.low) axis.high = axis.low + step;
  return axis;
}

Axis logarithmic_axis(std::string label, std::span<const double> values) {
  Axis axis{std::move(label), Scale::logarithmic, 1.0, 10.0, 0.0};
  double low = 0.0, high = 0.0;
  for (const double value : values) {
    if (!(value > 0.0)) continue;
    low = low == 0.0 ? value : std::min(low, value);
    high = std::max(high, value);
  }
  if (low == 0.0) return axis;
  axis.low = round_down(low);
  axis.high = round_up(high);
  if (axis.high <= axis.low) axis.high = 10.0 * axis.low;
  return axis;
}

std::string coordinate(double value) {
  std::array<char, 64> buffer{};
  const auto end = std::to_chars(buffer.data(), buffer.data() + buffer.size(), value,
                                 std::chars_format::fixed, 1);
  std::string text(buffer.data(), end.ptr);
  if (text.ends_with(".0")) text.resize(text.size() - 2);
  return text == "-0" ? "0" : text;
}

// Drawing a plot.

// --- drawing -------------------------------------------------------------------------------------

namespace {

// The layout, in units of the picture.
constexpr double left = 52, right = 16, bottom = 42;
constexpr double title_y = 15, key_y = 35, key_row = 17, above_axis = 36;
constexpr double key_sample = 26, key_word_gap = 6, key_gap = 14;
constexpr double letter = 6.5;  // mean width at 12 units
constexpr double marker_size = 3.2, cross = 3;
constexpr int most_ticks_across = 7, most_ticks_up = 6;
constexpr std::size_t longest_title = 58;

const char* name(Ink ink) {
  switch (ink) {
    case Ink::first:
      return "one";
    case Ink::second:
      return "two";
    case Ink::third:
      return "three";
    case Ink::quiet:
      return "faint";
  }
  return "one";
}

std::string attribute(const char* key, double value) {
  return " " + std::string(key) + "=\"" + coordinate(value) + "\"";
}

std::string line_element(const std::string& kind, double x1, double y1, double x2, double y2) {
  return "<line class=\"" + kind + "\"" + attribute("x1", x1) + attribute("y1", y1) +
         attribute("x2", x2) + attribute("y2", y2) + "/>\n";
}

std::string text_element(const std::string& kind, double x, double y, const std::string& text,
                         const char* anchor = "start", const std::string& more = "") {
  return "<text class=\"" + kind + "\"" + attribute("x", x) + attribute("y", y) +
         " text-anchor=\"" + anchor + "\"" + more + ">" + escaped(text) + "</text>\n";
}

/// A filled shape of its own for every ink.
std::string marker(Ink ink, double x, double y) {
  const std::string kind = std::string("<path class=\"dot ") + name(ink) + "\" d=\"M";
  const double s = marker_size;
  const auto at = [&](double dx, double dy) {
    return coordinate(x + dx) + " " + coordinate(y + dy);
  };
  switch (ink) {
    case Ink::second:
      return kind + at(-s, -s) + "h" + coordinate(2 * s) + "v" + coordinate(2 * s) + "h" +
             coordinate(-2 * s) + "z\"/>\n";
    case Ink::third:
      return kind + at(0, -1.3 * s) + "L" + at(1.3 * s, s) + "L" + at(-1.3 * s, s) + "z\"/>\n";
    case Ink::first:
    case Ink::quiet:
      break;
  }
  return std::string("<circle class=\"dot ") + name(ink) + "\"" + attribute("cx", x) +
         attribute("cy", y) + attribute("r", s) + "/>\n";
}

/// What the key says of a line or a mark.
struct KeyEntry {
  std::string text, attributes;
  Ink ink = Ink::first;
  bool stroke = true, dot = false;
  const char* kind = "curve ";
  double x = 0.0, y = 0.0;
};

std::vector<KeyEntry> key_of(const Plot& plot) {
  std::vector<KeyEntry> key;
  for (const Line& line : plot.lines) {
    if (!line.name.empty()) {
      key.push_back({line.name, "", line.ink, line.joined, line.markers, "curve "});
    }
  }
  for (const Mark& mark : plot.marks) {
    std::string from;
    if (!mark.pointer.empty()) {
      from =
          " data-value=\"" + escaped(mark.value) + "\" data-from=\"" + escaped(mark.pointer) + "\"";
    }
    key.push_back({mark.text, from, mark.ink, true, false, "mark "});
  }
  return key;
}

/// Sets the entries in rows. \returns where the last row stands; 0 without any
double lay_out(std::vector<KeyEntry>& key) {
  double x = 0.0, y = key_y;
  for (KeyEntry& entry : key) {
    const double width =
        key_sample + key_word_gap + letter * static_cast<double>(entry.text.size());
    if (x > 0.0 && x + width > plot_width) {
      x = 0.0;
      y += key_row;
    }
    entry.x = x;
    entry.y = y;
    x += width + key_gap;
  }
  return key.empty() ? title_y : y;
}

/// A plot on its paper.
class Canvas {
 public:
  explicit Canvas(const Plot& plot) : plot_(plot), key_(key_of(plot)) {
    top_ = lay_out(key_) + above_axis;
  }

  [[nodiscard]] std::string draw() const {
    return text_element("title", 0, title_y, shortened(plot_.title, longest_title)) + key() +
           crosses() + axes() + bands() + marks() + lines();
  }

 private:
  [[nodiscard]] double x_of(double value) const {
    return left + plot_.x.share(value) * (plot_width - left - right);
  }
  [[nodiscard]] double y_of(double value) const {
    return plot_height - bottom - plot_.y.share(value) * (plot_height - bottom - top_);
  }
  [[nodiscard]] bool drawable(double x, double y) const {
    const bool positive_x = plot_.x.scale == Scale::linear || x > 0.0;
    return std::isfinite(x) && std::isfinite(y) && positive_x;
  }

  [[nodiscard]] std::string key() const {
    std::string out;
    for (const KeyEntry& entry : key_) {
      const std::string ink = name(entry.ink);
      if (entry.stroke) {
        out +=
            line_element(entry.kind + ink, entry.x, entry.y - 4, entry.x + key_sample, entry.y - 4);
      }
      if (entry.dot) out += marker(entry.ink, entry.x + key_sample / 2, entry.y - 4);
      out += text_element("word", entry.x + key_sample + key_word_gap, entry.y, entry.text, "start",
                          entry.attributes);
    }
    return out;
  }

  /// A small cross wherever two round values meet takes the place of a grid.
  [[nodiscard]] std::string crosses() const {
    std::string path;
    for (const Tick& across : ticks(plot_.x, most_ticks_across)) {
      for (const Tick& up : ticks(plot_.y, most_ticks_up)) {
        const double x = x_of(across.value), y = y_of(up.value);
        path += "M" + coordinate(x - cross) + " " + coordinate(y) + "h" + coordinate(2 * cross) +
                "M" + coordinate(x) + " " + coordinate(y - cross) + "v" + coordinate(2 * cross);
      }
    }
    return "<path class=\"cross\" d=\"" + path + "\"/>\n";
  }

  [[nodiscard]] std::string axes() const {
    const double floor = plot_height - bottom, end = plot_width - right;
    std::string out = text_element("word quiet", 0, top_ - 15, plot_.y.label) +
                      text_element("word quiet", end, plot_height - 5, plot_.x.label, "end");
    for (const Tick& tick : ticks(plot_.y, most_ticks_up)) {
      out += text_element("number", left - 10, y_of(tick.value) + 4, tick.label, "end");
    }
    for (const Tick& tick : ticks(plot_.x, most_ticks_across)) {
      out += text_element("number", x_of(tick.value), floor + 18, tick.label, "middle");
    }
    const bool zero = plot_.y.scale == Scale::linear && plot_.y.low < 0.0 && plot_.y.high > 0.0;
    if (zero) out += line_element("axis", left, y_of(0.0), end, y_of(0.0));
    return out;
  }

  [[nodiscard]] std::string points(const std::vector<double>& x,
                                   const std::vector<double>& y) const {
    std::string out;
    for (std::size_t i = 0; i < std::min(x.size(), y.size()); ++i) {
      if (!drawable(x[i], y[i])) continue;
      if (!out.empty()) out += ' ';
      out.append(coordinate(x_of(x[i]))).append(",").append(coordinate(y_of(y[i])));
    }
    return out;
  }

  [[nodiscard]] std::string bands() const {
    std::string out;
    for (const Band& band : plot_.bands) {
      const std::vector<double> back_x(band.x.rbegin(), band.x.rend());
      const std::vector<double> back_low(band.low.rbegin(), band.low.rend());
      const std::string there = points(band.x, band.high), back = points(back_x, back_low);
      if (there.empty() || back.empty()) continue;
      out.append("<polygon class=\"band\" points=\"").append(there).append(" ");
      out.append(back).append("\"/>\n");
    }
    return out;
  }

  [[nodiscard]] std::string line(const Line& line) const {
    const std::string path = points(line.x, line.y);
    if (path.empty()) return "";
    std::string out;
    const std::string ink = name(line.ink);
    if (line.joined) out += "<polyline class=\"curve " + ink + "\" points=\"" + path + "\"/>\n";
    for (std::size_t i = 0; line.markers && i < std::min(line.x.size(), line.y.size()); ++i) {
      if (!drawable(line.x[i], line.y[i])) continue;
      out += marker(line.ink, x_of(line.x[i]), y_of(line.y[i]));
    }
    return out;
  }

  [[nodiscard]] std::string lines() const {
    std::string out;
    for (const Line& one : plot_.lines) out += line(one);
    return out;
  }

  [[nodiscard]] std::string marks() const {
    std::string out;
    for (const Mark& mark : plot_.marks) {
      const std::string kind = std::string("mark ") + name(mark.ink);
      const double x = x_of(mark.at), y = y_of(mark.at);
      out += mark.upright ? line_element(kind, x, top_, x, plot_height - bottom)
                          : line_element(kind, left, y, plot_width - right, y);
    }
    return out;
  }

  const Plot& plot_;
  std::vector<KeyEntry> key_;
  double top_ = 0.0;
};

// A title and a desc as the first children are an image's name and description [SVG 2, 5.8].
std::string opening(const Plot& plot, const std::string& place) {
  return "<svg xmlns=\"http://www.w3.org/2000/svg\" class=\"plot\"" + place + " viewBox=\"0 0 " +
         std::to_string(plot_width) + " " + std::to_string(plot_height) +
         "\" role=\"img\">\n<title>" + escaped(plot.title) + "</title>\n<desc>" +
         escaped(plot.description) + "</desc>\n";
}

}  // namespace

std::string drawing(const Plot& plot) {
  return opening(plot, "") + Canvas(plot).draw() + "</svg>\n";
}

std::string picture_file(const std::vector<Plot>& plots) {
  constexpr int gap = 24;
  const int columns = plots.size() > 1 ? 2 : 1;
  const int rows = (static_cast<int>(plots.size()) + columns - 1) / columns;
  const int width = columns * (plot_width + gap) + gap;
  const int height = rows * (plot_height + gap) + gap;
  std::string out = "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 " +
                    std::to_string(width) + " " + std::to_string(height) + "\" width=\"" +
                    std::to_string(width) + "\" height=\"" + std::to_string(height) +
                    "\">\n<style>" + style() + "</style>\n<rect class=\"paper\" width=\"" +
                    std::to_string(width) + "\" height=\"" + std::to_string(height) + "\"/>\n";
  for (std::size_t i = 0; i < plots.size(); ++i) {
    const int column = static_cast<int>(i) % columns, row = static_cast<int>(i) / columns;
    const auto place = attribute("x", gap + column * (plot_width + gap)) +
                       attribute("y", gap + row * (plot_height + gap)) +
                       attribute("width", plot_width) + attribute("height", plot_height);
    out += opening(plots[i], place) + Canvas(plots[i]).draw() + "</svg>\n";
  }
  return out + "</svg>\n";
}

// --- style ---------------------------------------------------------------------------------------

// Blue, rust and green keep apart in every common kind of colour vision, the more so as each has a
// dash of its own. On paper all inks are black.
const std::string& style() {
  static const std::string css = R"(
:root { --paper: #fbfaf6; --ink: #1d1b18; --quiet: #5b564d; --rule: #c8c1b2;
  --one: #0a5c8f; --two: #a8440c; --three: #2b6e3f; --faint: #79736a; --shade: #0a5c8f;
  --stop: #9c1f16; --good: #2b6e3f; --panel: #f2efe6; color-scheme: light dark }
@media (prefers-color-scheme: dark) {
  :root { --paper: #171614; --ink: #eae6dc; --quiet: #b3ada0; --rule: #57524a;
    --one: #7cc0ee; --two: #f2a268; --three: #8fce9f; --faint: #8f897e; --shade: #7cc0ee;
    --stop: #ff9084; --good: #8fce9f; --panel: #211f1c }
}
@media print {
  :root { --paper: #fff; --ink: #000; --quiet: #333; --rule: #888;
    --one: #000; --two: #000; --three: #000; --faint: #777; --shade: #777;
    --stop: #000; --good: #000; --panel: #fff }
}
svg { font-family: "Gill Sans", "Gill Sans MT", Calibri, "DejaVu Sans", sans-serif }
svg text { fill: var(--ink) }
svg .title { font: italic 15px "Iowan Old Style", "Palatino Linotype", Palatino, Georgia, serif }
svg .word { font-size: 12px }
svg .number { font-size: 12px; font-variant-numeric: tabular-nums; fill: var(--quiet) }
svg .quiet { fill: var(--quiet) }
svg .paper { fill: var(--paper) }
svg .cross { fill: none; stroke: var(--rule); stroke-width: 1 }
svg .axis { stroke: var(--rule); stroke-width: 1 }
svg .curve { fill: none; stroke-width: 2; stroke-linejoin: round }
svg .mark { stroke-width: 1.5 }
svg .mark.one { stroke: var(--ink); stroke-width: 1 }
svg .band { fill: var(--shade); fill-opacity: .22; stroke: none }
svg .curve.one { stroke: var(--one) }
svg .curve.two, svg .mark.two { stroke: var(--two); stroke-dasharray: 7 4 }
svg .curve.three, svg .mark.three { stroke: var(--three); stroke-dasharray: 2 3 }
svg .curve.faint, svg .mark.faint { stroke: var(--faint); stroke-width: 1.2; stroke-dasharray: 9 3 2 3 }
svg .dot.one { fill: var(--one) }
svg .dot.two { fill: var(--two) }
svg .dot.three { fill: var(--three) }
svg .dot.faint { fill: var(--faint) }
)";
  return css;
}

}  // namespace railtap::report::svg
