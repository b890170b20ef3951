// SPDX-License-Identifier: MIT
// Watching a stream: its channels measured as it goes, shown on a screen or printed line by line.
#pragma once

#include <cstdint>
#include <filesystem>
#include <functional>
#include <iosfwd>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "audio/output.hpp"
#include "audio/stream.hpp"
#include "judge/analysis.hpp"
#include "live/channel_watch.hpp"
#include "live/terminal.hpp"
#include "live/watch_view.hpp"
#include "units/quantity.hpp"

namespace railtap::page {
class Server;
}

namespace railtap::live {

/// All channels of a stream.
class Watch {
 public:
  /// \param limits of the verdicts, with the volts where they are known
  /// \param device the samples come from a converter of unknown bits
  Watch(const audio::StreamFormat& format, const judge::Limits& limits, bool device);

  /// \param interleaved whole frames, full scale ±1
  void add(std::span<const double> interleaved);

  [[nodiscard]] Seconds time() const;  ///< of all that was added
  [[nodiscard]] std::vector<ChannelReading> readings() const;
  void reset();   ///< as ChannelWatch::reset, of all channels
  bool finish();  ///< the same of ChannelWatch::finish; whether any has more to say

 private:
  std::vector<ChannelWatch> channels_;
  std::int64_t frames_ = 0;
  double rate_;
};

/// Something with knobs that the keys turn, such as the virtual rig.
struct Knobs {
  std::function<bool(Key)> turn;      ///< returns whether the key was one of its own
  std::function<std::string()> text;  ///< positions of the knobs, and the keys for them
};

/// What to watch, and how.
struct WatchJob {
  audio::Source source;
  std::function<std::int64_t()> losses;    ///< as for Feed
  std::string name;                        ///< of the source, in the person's words
  std::vector<std::string> channel_names;  ///< of channels 1, 2, …; may be empty
  judge::Limits limits;
  std::optional<WatchTarget> target;
  Decibels tolerance = electric::default_tolerance;  ///< of a target that is set with a key
  bool device = false;                               ///< as for Watch
  bool paced = false;             ///< no faster than the samples' own time: for a file in real time
  std::optional<Seconds> length;  ///< stops then
  std::optional<Knobs> knobs;
  std::optional<audio::OutputRequest> sound;          ///< where the guide for the ear plays
  std::optional<electric::SoundInterface> interface;  ///< the recording input's own figures
  bool colour = true;                                 ///< as for Terminal
  bool ascii = false;                                 ///< as for Terminal
  std::filesystem::path save_folder = ".";            ///< for the readings that the s key saves
  std::shared_ptr<page::Server> page;                 ///< where a phone looks on; may be null
};

/// The whole screen, until q, Ctrl-C or the end of the length. When the source ends, the last
/// reading stays. \returns whether the last reading was within limits
[[nodiscard]] bool watch_on_screen(WatchJob job);

/// Which line is written: plain_line for people, json_line for programs, or none where only a page
/// shows the figures.
enum class LineKind { plain, json, none };

/// One line every so often of the stream's own time, until it ends, Ctrl-C or the end of the
/// length. \returns whether the last reading was within limits
[[nodiscard]] bool watch_in_lines(WatchJob job, LineKind kind, Seconds every, std::ostream& out);

}  // namespace railtap::live
