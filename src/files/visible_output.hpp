// SPDX-License-Identifier: MIT
// What goes to a terminal, with every control character that the program did not mean made visible.
#pragma once

#include <memory>
#include <ostream>
#include <string_view>

namespace railtap::files {

class VisibleBuffer;

/// While it lives, a stream writes what `railtap::visible` makes of its text, line ends and tabs
/// apart: a name that holds an escape sequence cannot command the terminal, whichever sentence it
/// is in. Output that is no terminal gets the same, for it may be shown on one later.
class VisibleOutput {
 public:
  explicit VisibleOutput(std::ostream& out);
  /// Writes what is left, and gives the stream its own buffer back.
  ~VisibleOutput();
  VisibleOutput(const VisibleOutput&) = delete;
  VisibleOutput& operator=(const VisibleOutput&) = delete;

 private:
  std::ostream& out_;
  std::unique_ptr<VisibleBuffer> buffer_;
};

/// Text whose control characters are the program's own: `out << AsItIs{"\r"}`. Goes to any stream
/// unchanged.
struct AsItIs {
  std::string_view text;
};
std::ostream& operator<<(std::ostream& out, AsItIs as_it_is);

}  // namespace railtap::files
