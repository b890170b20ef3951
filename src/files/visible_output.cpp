// SPDX-License-Identifier: MIT
// What goes to a terminal, with every control character that the program did not mean made visible.
#include "files/visible_output.hpp"

#include <algorithm>
#include <streambuf>
#include <string>

#include "units/visible.hpp"

namespace railtap::files {

/// Hands whole lines' worth of bytes on; a character that is not whole yet waits for its rest.
class VisibleBuffer : public std::streambuf {
 public:
  explicit VisibleBuffer(std::streambuf* behind) : behind_(behind) {}

  [[nodiscard]] std::streambuf* behind() const { return behind_; }

  bool pass_as_it_is(std::string_view text) { return pass_visible(waiting_.size()) && put(text); }

  bool pass_rest() { return pass_visible(waiting_.size()); }

 protected:
  std::streamsize xsputn(const char* text, std::streamsize count) override {
    const std::string_view whole(text, static_cast<std::size_t>(count));
    if (waiting_.empty() && is_plain(whole)) return put(whole) ? count : 0;
    waiting_.append(whole);
    return pass_visible(whole_bytes()) ? count : 0;
  }

  int_type overflow(int_type character) override {
    if (traits_type::eq_int_type(character, traits_type::eof()))
      return traits_type::not_eof(character);
    const char one = traits_type::to_char_type(character);
    return xsputn(&one, 1) == 1 ? character : traits_type::eof();
  }

  // A character in pieces is not held back by it: std::cerr syncs after every piece of text.
  int sync() override { return behind_->pubsync(); }

 private:
  /// Nothing to be done, so no memory is needed: that it has run out can still be told.
  [[nodiscard]] static bool is_plain(std::string_view text) {
    return std::all_of(text.begin(), text.end(),
                       [](char c) { return (c >= ' ' && c <= '~') || c == '\n' || c == '\t'; });
  }

  /// All but a character at the end that has begun and may go on.
  [[nodiscard]] std::size_t whole_bytes() const {
    constexpr std::size_t longest = 4;  // bytes of a character [Unicode 15, table 3-6]
    for (std::size_t back = 1; back < longest && back <= waiting_.size(); ++back) {
      const auto byte = static_cast<unsigned char>(waiting_[waiting_.size() - back]);
      if ((byte & 0xC0U) == 0x80U) continue;
      const std::size_t length = byte >= 0xF0U ? 4 : byte >= 0xE0U ? 3 : byte >= 0xC2U ? 2 : 1;
      return length > back ? waiting_.size() - back : waiting_.size();
    }
    return waiting_.size();
  }

  bool pass_visible(std::size_t bytes) {
    const std::string text = visible(std::string_view(waiting_).substr(0, bytes), Lines::keep);
    waiting_.erase(0, bytes);
    return put(text);
  }

  bool put(std::string_view text) {
    const auto count = static_cast<std::streamsize>(text.size());
    return behind_->sputn(text.data(), count) == count;
  }

  std::streambuf* behind_;
  std::string waiting_;
};

VisibleOutput::VisibleOutput(std::ostream& out)
    : out_(out), buffer_(std::make_unique<VisibleBuffer>(out.rdbuf())) {
  out_.rdbuf(buffer_.get());
}

VisibleOutput::~VisibleOutput() {
  const auto state = out_.rdstate();
  (void)buffer_->pass_rest();
  out_.rdbuf(buffer_->behind());
  out_.clear(state);  // setting a buffer would forget that writing failed
}

std::ostream& operator<<(std::ostream& out, AsItIs as_it_is) {
  auto* const buffer = dynamic_cast<VisibleBuffer*>(out.rdbuf());
  if (buffer == nullptr) return out << as_it_is.text;
  if (!buffer->pass_as_it_is(as_it_is.text)) out.setstate(std::ios::badbit);
  return out;
}

}  // namespace railtap::files
