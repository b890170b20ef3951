// SPDX-License-Identifier: MIT
// What the demo learns: from rising levels, found and judged as `railtap onset` does; of wiring and
// filters, verified as found, put right, verified again; and its job record and setup sheet.
#pragma once

#include <filesystem>
#include <iosfwd>
#include <optional>
#include <string>
#include <vector>

#include "command/demo_bench.hpp"
#include "command/recorded.hpp"
#include "judge/onset.hpp"
#include "report/calibration.hpp"
#include "report/demo.hpp"
#include "report/target.hpp"
#include "report/verification.hpp"
#include "signal/tone.hpp"
#include "system/job_record.hpp"
#include "system/kept_files.hpp"
#include "units/quantity.hpp"

namespace railtap::command {

// What the demo learns from rising levels, found and judged as `railtap onset` does.

/// Judges a capture's ladder or rising level, a channel each. Its document is left in results/ as
/// NAME-onset.json. \throws Error where an announced ladder is not in it
[[nodiscard]] std::vector<judge::ChannelOnset> judge_rising_level(const DemoFolder& folder,
                                                                  const std::string& name,
                                                                  const judge::Limits& limits);

/// The lowest voltage at which the tops of any channel go flat; none where none do.
[[nodiscard]] std::optional<Volts> lowest_flat_top(
    const std::vector<judge::ChannelOnset>& channels);

/// The volumes that were tried, one after the other.
struct VolumesTried {
  int first = 0, last = 0;
  Seconds start{0.0};  ///< of the first, in the recording
  Seconds dwell{0.0};  ///< from one to the next
};

/// The head unit's limit: the highest volume at which every channel is clean.
/// \param channels one or more; \param place for the error \throws Error where the steps are not
/// those volumes, or none is clean
[[nodiscard]] report::DemoHeadUnit head_unit_limit(const std::vector<judge::ChannelOnset>& channels,
                                                   VolumesTried tried, const std::string& place);

// Wiring and filters in the demo: verified as found, put right, verified again.

/// The kit's verification track with shorter parts; and the same for a channel of bass, with the
/// stepped tones in it.
[[nodiscard]] signal::Track verify_track();
[[nodiscard]] signal::Track verify_bass_track();

/// Writes the demo's verification track: the kit's, with shorter parts. \returns its path
[[nodiscard]] std::filesystem::path write_verify_track(const DemoFolder& folder);

/// What is played into which control; empty where no control needs it.
struct VerifyTracks {
  std::filesystem::path pair;    ///< of left and right
  std::filesystem::path summed;  ///< one channel that sums both, as bass amplifiers have
};

/// Writes those that the bench's controls need: `pair` as above, `summed` for bass, with steady
/// tones in it. A control with one input is taken for one that sums.
[[nodiscard]] VerifyTracks write_verify_tracks(const Bench& bench, const DemoFolder& folder);

/// What was found at a control, and what is left once it was put right.
struct VerifiedControl {
  report::DemoVerification outcome;
  report::VerificationDocument found;
  std::optional<report::VerificationDocument> corrected;  ///< none where nothing was put right
};

/// Verifies every control; exchanges plus and minus of inverted channels; of pairs, exchanges
/// swapped ones, switches filters off; and verifies again what was changed. A single channel must
/// carry both sides, and may have filters. Leaves railtap.verification/1 documents in results/,
/// named CONTROL-verify-found and CONTROL-verify-corrected. \param volume a step at which nothing
/// clips
[[nodiscard]] std::vector<VerifiedControl> verify_controls(const Bench& bench,
                                                           const DemoFolder& folder,
                                                           const VerifyTracks& tracks, int volume,
                                                           Volts volts_per_full_scale,
                                                           std::ostream& notes);

// The tones that the demo plays.

/// No overlap: full scale is what reaches the target.
inline constexpr Dbfs demo_level{0.0};

/// The volume control is turned a step further this often.
inline constexpr Seconds volume_dwell{0.7};

/// The level ladder: its top is the set-up tone's level.
inline constexpr Decibels ladder_range{9.0};
inline constexpr Decibels ladder_step{1.0};
inline constexpr Seconds ladder_dwell{0.6};

/// The tracks for one gain control.
struct ControlTones {
  std::filesystem::path turn;  ///< while turning
  std::filesystem::path set;   ///< for the last look
  std::filesystem::path ladder;
};

/// Files of all tracks. A file is one track in stereo.
struct DemoTones {
  Hertz calibration_tone{0.0};                         ///< 1 kHz where the meter reads it
  std::filesystem::path calibration, volume, silence;  ///< volume: 1 kHz while it is turned up
  VerifyTracks verify;
  std::vector<ControlTones> controls;  ///< as Bench::controls
};

/// The lowest volume step that is tried for the head unit's limit: three fifths of the way up.
[[nodiscard]] int first_volume(const Bench& bench);

/// Writes all of them into the folder.
[[nodiscard]] DemoTones write_tones(const Bench& bench, const DemoFolder& folder);

// The demo's job record and its setup sheet, made of the documents that the commands make.

/// What an entry is about, as system::RecordEntry has it.
struct DemoSubject {
  std::string subject, stage, moment, note;
};

/// job.json in the demo's folder, new with every demo.
class DemoRecord {
 public:
  /// Removes the record of an earlier demo.
  DemoRecord(const Bench& bench, DemoFolder folder);

  /// From then on every entry says what its volts rest on.
  void add_calibration(const report::CalibrationDocument& document,
                       const system::CalibrationRecord& calibration);
  /// One channel of a capture.
  void add_analysis(const std::string& capture, const Recorded& recorded, std::size_t channel,
                    const judge::Limits& limits, const DemoSubject& about) const;
  /// The rising levels in one channel of a capture.
  void add_onset(const std::string& capture, std::size_t channel, const judge::Limits& limits,
                 const DemoSubject& about) const;
  /// One channel of a verification.
  void add_verification(report::VerificationDocument document, std::size_t channel,
                        const DemoSubject& about) const;
  /// What a channel should deliver, and what it reached.
  void add_target(const electric::ChannelTarget& target, const electric::Conditions& conditions,
                  const DemoSubject& about) const;
  /// The demo's own document.
  void add_outcome(const report::DemoDocument& document) const;
  /// Writes sheet.html beside the record.
  void write_sheet() const;

 private:
  [[nodiscard]] std::filesystem::path path() const { return folder_.root / "job.json"; }
  void append(const std::string& kind, system::Json document, const DemoSubject& about) const;

  DemoFolder folder_;
  system::Json system_, calibration_;
};

}  // namespace railtap::command
