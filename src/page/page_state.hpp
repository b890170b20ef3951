// SPDX-License-Identifier: MIT
// What the phone page shows at one moment, in words and shares that need no more computing, and the
// document that is sent to it.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

namespace railtap::page {

// What the phone page shows at one moment, in words and shares that need no more computing.

/// What a text or a lamp means; the page's style sheet decides what that looks like.
enum class Emphasis : unsigned char { plain, faint, strong, good, caution, alarm };

/// A text with its meaning.
struct Line {
  std::string text;
  Emphasis emphasis = Emphasis::plain;
};

/// Which way a control is to be turned.
enum class Way : unsigned char { none, raise, lower, hold };

/// A bar that grows to the right. Shares are of its length, 0 … 1.
struct Bar {
  double filled = 0.0;
  std::optional<double> mark;  ///< where the target is
  Emphasis emphasis = Emphasis::plain;
};

/// One of the two rails of an output: a lamp, its name, and what is to be said of it.
struct Rail {
  std::string name;
  std::string text;
  bool lit = false;
  Emphasis emphasis = Emphasis::faint;
};

/// A point of the waveform: share of the cycle 0 … 1, and height −1 … 1.
struct WavePoint {
  double across = 0.0, up = 0.0;
};

/// The figures of one channel.
struct Meter {
  std::string name;        ///< "front right", or "channel 2"
  bool in_focus = false;   ///< the keys are for it
  Line verdict;            ///< "CLEAN", "FLAT TOPS", …
  std::string digits;      ///< the level's figures, "14.14"
  std::string unit;        ///< "V"
  Way way = Way::none;     ///< the arrow beside the advice
  Line advice;             ///< the next step: "RAISE 3.01 dB to 20.00 V"
  std::optional<Bar> bar;  ///< on the way to the target
  std::vector<Rail> rails;
  std::vector<Line> notes;  ///< further figures, one to a line
  std::vector<WavePoint> wave;
  Emphasis wave_emphasis = Emphasis::plain;
};

/// A button, and the key that it stands for.
struct Button {
  std::string key;  ///< as the loop that polls knows it: "h", "up"
  std::string label;
  bool down = false;  ///< what it switches is on
  bool main = false;  ///< the one that is most likely wanted
};

/// A question that is answered by typing.
struct Question {
  std::string text;
  std::string typed{};   ///< what is suggested
  bool figures = false;  ///< a number is wanted: a phone then shows those keys first
  bool at_once = false;  ///< the person asked for it: typing begins at once
};

/// Everything on the page. Texts may hold anything that a file or a device is called.
struct PageState {
  std::string title;               ///< the source, or the step of the job
  std::string subtitle;            ///< rate and time, or where in the job
  std::vector<Line> flags;         ///< held, ended, samples lost
  std::vector<Line> instructions;  ///< what to do, one paragraph each
  std::vector<Meter> meters;       ///< may be empty
  std::vector<Button> buttons;     ///< in the order in which they are shown
  std::optional<Question> question;
  std::string message;  ///< of the last key; may be empty
  /// The figures do not change on purpose: held, ended, or a step that has none.
  bool still = false;
  /// Goes up when the same key starts to mean something else, so that a press that was meant for
  /// the step before is refused.
  std::int64_t step = 0;
};

// The phone page's state as the document that is sent to it.

/// The most characters of any one text that are sent; what is longer ends with "…".
inline constexpr std::size_t longest_text = 300;

/// One JSON document in a line. Between program and page only: its keys may change. Bytes that are
/// no UTF-8 become U+FFFD, and so do control characters and those that change the direction of
/// text [Unicode 15, UAX #9, 2.1 to 2.5].
[[nodiscard]] std::string page_json(const PageState& state);

/// A text as the page gets it.
[[nodiscard]] std::string shown_text(const std::string& text);

}  // namespace railtap::page
