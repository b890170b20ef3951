// SPDX-License-Identifier: MIT
// What a verification finds: channels, polarity, filters, and what is left in the silence between:
// hiss and hum.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "electric/calibration.hpp"
#include "judge/channel_identity.hpp"
#include "judge/filters.hpp"
#include "judge/sentence.hpp"
#include "judge/steady_tones.hpp"
#include "measure/marker.hpp"
#include "measure/silence.hpp"
#include "measure/swept_response.hpp"
#include "units/quantity.hpp"

namespace railtap::judge {

// What silence shows of a channel: hiss in volts and as a sound level, hum and whine.

/// One line in the silence.
struct SilenceLine {
  Hertz frequency{0.0};
  std::string kind;  ///< "hum", "whine" or "tone"
  Dbfs level{0.0};
  std::optional<Volts> level_v;          ///< RMS
  std::optional<Decibels> re_programme;  ///< re a full-scale programme at this volume
};

/// Hiss, hum and whine of one channel. Absent is what the context does not give, and the level of
/// what is digital silence.
struct SilenceFindings {
  Seconds length{0.0};
  std::optional<Dbfs> hiss;     ///< 20 Hz to 20 kHz, without lines
  std::optional<Dbfs> hiss_a;   ///< A-weighted, without lines, less the interface's where known
  std::optional<Dbfs> whole_a;  ///< A-weighted, with lines
  std::optional<Volts> hiss_v, hiss_a_v, whole_a_v;  ///< RMS
  std::optional<Decibels> hiss_sound_level;          ///< dB(A) at 1 m
  std::optional<Decibels> hiss_re_programme;         ///< A-weighted, re a full-scale programme
  bool interface_bound = false;    ///< over half of its power may be the interface's own
  std::vector<SilenceLine> lines;  ///< strongest first
};

/// What else has to be known for it; what is not is absent.
struct SilenceContext {
  std::optional<Volts> volts_per_full_scale;  ///< peak volts at digital full scale
  std::optional<Decibels> sensitivity;        ///< of the speaker, dB at 2.83 V and 1 m
  std::optional<Dbfs> programme;          ///< recorded level of a sine at the track's full scale
  std::optional<Dbfs> interface_noise_a;  ///< A-weighted; its power is taken off the hiss
};

/// Powers as levels, and as volts and sound where the context allows. Lines more than 100 dB below
/// a full-scale programme are left out.
[[nodiscard]] SilenceFindings judge_silence(const measure::SilenceReading& reading,
                                            const SilenceContext& context);

// The verdict on wiring and setting, from what the verification tracks left in a recording.

/// A sweep as recorded, with the level at which it was played.
struct SweepReading {
  measure::SweptResponse response;
  Dbfs played{0.0};
};

/// What one recorded channel holds of the verification tracks; parts that were not found are
/// absent.
struct ChannelMeasurements {
  int channel = 1;   ///< from 1, over all files
  std::string file;  ///< its name
  std::string name;  ///< as the system names the output, "front right"; may be empty
  std::optional<measure::PatternReading> pattern;
  std::optional<measure::PolarityReading> pulses;
  std::optional<SweepReading> sweep;
  std::optional<SteppedReading> stepped;
  std::optional<measure::SilenceReading> silence;
  bool at_full_scale = false;  ///< samples of a part were at the recording's limit
};

/// What plays into the amplifier.
enum class SourceKind { speaker_level, line_level };

/// Against what it is held. The defaults are common practice where no source is named.
struct VerificationLimits {
  std::vector<Carries> expected;  ///< channel by channel; empty: left, right where there are two
  bool filters_allowed = false;   ///< high-pass and low-pass filters are meant to be on
  Decibels match{1.0};            ///< left against right
  Decibels separation{30.0};      ///< least, of one side's signal in the other's channel
  Decibels flatness{1.0};         ///< what is no filter may move the response by
  /// Most that the hiss may sound like, dB(A) at 1 m: that of a bedroom at night [WHO, Guidelines
  /// for Community Noise (1999), table 4.1].
  Decibels quiet_cabin{30.0};
  /// Hum and whine re a full-scale programme at this volume.
  Decibels interference{-60.0};
  Percent distortion{1.0};  ///< in the sweep, and of a steady tone
  Decibels agreement{0.5};  ///< of steady tones and sweep: five times what either is off by
  std::optional<Volts> volts_per_full_scale;
  std::optional<Decibels> sensitivity;  ///< of the speaker, dB at 2.83 V and 1 m
  std::optional<double> gain_position;  ///< 0 … 1 of the control's travel
  SourceKind source = SourceKind::speaker_level;
};

/// Total harmonic distortion while the sweep passed a frequency.
struct SweptDistortion {
  Hertz frequency{0.0};
  Percent thd{0.0};
};

/// What a channel comes to: `wiring` where it carries another side than it should, is silent, or
/// has plus and minus exchanged; `look_again` for every other fault or caution.
enum class ChannelVerdict { good, wiring, look_again };

/// What is said of one channel; a part of the tracks that was not found is absent.
struct ChannelVerification {
  int channel = 1;                  ///< from 1, over all files
  std::string file;                 ///< its name
  std::string name;                 ///< as the system names the output; may be empty
  std::optional<Carries> expected;  ///< none where it is not known
  std::optional<ChannelIdentity> identity;
  std::optional<PolarityVerdict> polarity;
  /// As measured, or with the interface's own taken out: then `interface_part` is there.
  std::vector<measure::ResponsePoint> response;
  std::optional<measure::ResponsePoint> interface_part;  ///< where it was largest
  std::optional<ResponseFindings> filters;
  std::optional<SweptDistortion> distortion;  ///< the highest that stood out of the noise
  std::optional<SteadyTones> steady_tones;    ///< none where no stepped tones were played
  std::optional<SilenceFindings> silence;
  std::vector<Finding> findings;
  /// By its own findings, without those of the pair.
  [[nodiscard]] ChannelVerdict verdict() const;
};

/// "front right"; "channel 2" where the output has no name.
[[nodiscard]] std::string called(const ChannelVerification& channel);

/// One side's signal in the channel of the other, re its own channel.
struct Crosstalk {
  int from = 1, into = 2;  ///< channels
  Decibels level{0.0};
  bool below = false;  ///< noise hides it: it is lower than that
};

/// The first two channels against each other.
struct PairVerification {
  std::optional<Decibels> match;  ///< second re first, mean over the frequencies both pass
  std::vector<Crosstalk> crosstalk;
  std::vector<Finding> findings;
};

/// The verdict on a whole system.
struct Verification {
  std::vector<ChannelVerification> channels;
  std::optional<PairVerification> pair;  ///< none where there is one channel only
  std::vector<Finding> findings;         ///< of no channel in particular
  /// Whether there is nothing but notes.
  [[nodiscard]] bool within_limits() const;
};

/// Judges the channels of one system. Polarity that cannot be decided and parts that are missing
/// are faults of the verification, not of the car: they count as cautions, and as not within
/// limits.
///
/// The interface's response re 1 kHz is taken out of magnitude and phase, interpolated in the
/// logarithm of frequency, the nearest value held beyond its ends; its gain at 1 kHz stays, that is
/// the calibration's. A loop-back has the interface's output in it as well, which plays no part in
/// the car: what that takes away at the ends of the band is put back once too often. Polarity is
/// judged by the response as recorded.
/// \param interface its own figures by a loop-back; null where they are not known
[[nodiscard]] Verification judge_verification(const std::vector<ChannelMeasurements>& channels,
                                              const electric::SoundInterface* interface,
                                              const VerificationLimits& limits);

/// "good", "wiring" or "look-again".
[[nodiscard]] const char* name(ChannelVerdict verdict);

/// "fault", "caution" or "note".
[[nodiscard]] const char* name(Severity severity);

}  // namespace railtap::judge
