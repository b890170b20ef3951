// SPDX-License-Identifier: MIT
// The address of a page, drawn and printed.
#include "live/page_notice.hpp"

#include <ostream>

#include "files/visible_output.hpp"
#include "page/qr_code.hpp"

namespace railtap::live {
namespace {

constexpr const char* warning = "Anybody in this network who has the address may look and press.";
constexpr const char* not_secret = "Nothing on the way is encrypted.";
constexpr const char* back = "p or any other key: back to the figures";

// \returns the row behind it; where the code does not fit, nothing is drawn
int draw_code(Canvas& canvas, int row, const std::string& address) {
  const auto modules = page::qr_modules(address);
  const int rows = (static_cast<int>(modules.size()) + 1) / 2;
  if (row + rows > canvas.rows() || static_cast<int>(modules.size()) > canvas.columns()) return row;
  for (int line = 0; line < rows; ++line) {
    const std::size_t upper = 2 * static_cast<std::size_t>(line);
    for (std::size_t column = 0; column < modules.size(); ++column) {
      const bool lower = upper + 1 < modules.size() && modules[upper + 1][column];
      canvas.put(row + line, static_cast<int>(column),
                 page::half_block(modules[upper][column], lower), Style::paper);
    }
  }
  return row + rows;
}

}  // namespace

void draw(const PageNotice& notice, const Glyphs& glyphs, Canvas& canvas) {
  int row = 0;
  canvas.write(row++, 0, notice.lan ? notice.address : notice.short_address, Style::strong);
  if (notice.lan) canvas.write(row++, 0, std::string(warning), Style::caution);
  if (glyphs.blocks && notice.lan) row = draw_code(canvas, row, notice.address);
  if (row < canvas.rows()) canvas.write(row, 0, back, Style::faint);
}

void print(const PageNotice& notice, CodeInk ink, std::ostream& out) {
  out << "page: " << (notice.lan ? notice.address : notice.short_address) << "\n";
  if (notice.lan && ink != CodeInk::none)
    out << files::AsItIs{page::qr_text(notice.address, ink == CodeInk::colours)};
  if (notice.lan) out << warning << " " << not_secret << "\n";
  out << std::flush;
}

}  // namespace railtap::live
