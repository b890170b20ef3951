// SPDX-License-Identifier: MIT
// Bars, columns and curves out of characters.
#include "live/curve.hpp"

#include <algorithm>
#include <cmath>
#include <vector>

namespace railtap::live {
namespace {

constexpr int eighths = 8;

// Height of the curve at a phase, between its points, which go round.
double value_at(std::span<const measure::FoldedPoint> cycle, double phase) {
  const auto after = std::find_if(cycle.begin(), cycle.end(),
                                  [phase](const auto& point) { return point.phase > phase; });
  const auto& right = after == cycle.end() ? cycle.front() : *after;
  const auto& left = after == cycle.begin() ? cycle.back() : *(after - 1);
  double span = right.phase - left.phase;
  double from = phase - left.phase;
  if (span <= 0.0) span += 1.0;
  if (from < 0.0) from += 1.0;
  return left.mean + (right.mean - left.mean) * (from / span);
}

// Dots of which several make a character.
class Dots {
 public:
  Dots(const Area& area, int across, int down)
      : across_(across),
        down_(down),
        width_(area.columns * across),
        height_(area.rows * down),
        lit_(index(0, height_), false) {}

  [[nodiscard]] int width() const { return width_; }
  [[nodiscard]] int height() const { return height_; }
  void light(int x, int y) {
    if (x < 0 || x >= width_ || y < 0 || y >= height_) return;
    lit_[index(x, y)] = true;
  }
  [[nodiscard]] bool lit(int x, int y) const { return lit_[index(x, y)]; }
  [[nodiscard]] int across() const { return across_; }
  [[nodiscard]] int down() const { return down_; }

 private:
  [[nodiscard]] std::size_t index(int x, int y) const {
    return static_cast<std::size_t>(y) * static_cast<std::size_t>(width_) +
           static_cast<std::size_t>(x);
  }

  int across_, down_, width_, height_;
  std::vector<bool> lit_;
};

// A braille pattern has its dots numbered 1 2 3 7 down the left and 4 5 6 8 down the right; dot n
// is bit n − 1 above U+2800 [The Unicode Standard 15.0, 21.1].
char32_t braille(const Dots& dots, int column, int row) {
  constexpr unsigned bits[4][2] = {{0, 3}, {1, 4}, {2, 5}, {6, 7}};
  unsigned pattern = 0;
  for (int y = 0; y < 4; ++y) {
    for (int x = 0; x < 2; ++x) {
      if (dots.lit(2 * column + x, 4 * row + y)) pattern |= 1U << bits[y][x];
    }
  }
  return pattern == 0 ? U' ' : U'\u2800' + pattern;
}

void trace(Dots& dots, std::span<const measure::FoldedPoint> cycle, double peak) {
  int last_y = -1;
  for (int x = 0; x < dots.width(); ++x) {
    const double value = value_at(cycle, (x + 0.5) / dots.width()) / peak;
    const int y = static_cast<int>(std::lround((1.0 - value) * 0.5 * (dots.height() - 1)));
    const int from = last_y < 0 ? y : last_y;
    const int step = from < y ? 1 : -1;
    for (int k = from; k != y; k += step) dots.light(x, k);
    dots.light(x, y);
    last_y = y;
  }
}

}  // namespace

char32_t bar_cell(double share, const Glyphs& glyphs) {
  if (!glyphs.blocks) return share >= 0.5 ? U'=' : U'.';
  const auto filled = static_cast<char32_t>(std::lround(share * eighths));
  // U+2588 is the full block, U+258F the left eighth.
  return filled == 0 ? U'\u00B7' : U'\u2588' + (eighths - filled);
}

void draw_column(const Area& area, int column, double share, Style style, const Glyphs& glyphs) {
  const double height = share * area.rows;
  for (int row = 0; row < area.rows; ++row) {
    const double part = std::clamp(height - (area.rows - 1 - row), 0.0, 1.0);
    const auto filled = static_cast<char32_t>(std::lround(part * eighths));
    if (filled == 0 && row < area.rows - 1) continue;
    // U+2581 is the lowest eighth, U+2588 the full block. The lowest row always shows something.
    const char32_t block = U'\u2580' + std::max<char32_t>(filled, 1);
    area.put(row, column, glyphs.blocks ? block : (part >= 0.5 ? U'#' : U'.'), style);
  }
}

void draw_curve(const Area& area, std::span<const measure::FoldedPoint> cycle, Style style,
                const Glyphs& glyphs) {
  double peak = 0.0;
  for (const auto& point : cycle) peak = std::max(peak, std::abs(point.mean));
  if (peak <= 0.0) return;
  for (int column = 0; column < area.columns; ++column)
    area.put(area.rows / 2, column, glyphs.blocks ? U'\u2500' : U'-', Style::faint);
  Dots dots(area, glyphs.braille ? 2 : 1, glyphs.braille ? 4 : 1);
  trace(dots, cycle, peak);
  for (int row = 0; row < area.rows; ++row) {
    for (int column = 0; column < area.columns; ++column) {
      const char32_t glyph =
          glyphs.braille ? braille(dots, column, row) : (dots.lit(column, row) ? U'*' : U' ');
      if (glyph != U' ') area.put(row, column, glyph, style);
    }
  }
}

}  // namespace railtap::live
