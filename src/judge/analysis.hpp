// SPDX-License-Identifier: MIT
// From what was measured in a recording to a verdict with reasons, channel by channel.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "judge/cause.hpp"
#include "judge/programme.hpp"
#include "measure/recording.hpp"
#include "units/quantity.hpp"

namespace railtap::judge {

/// "hum" (a multiple of 50 or 60 Hz), "whine" (where an alternator's is), else "tone".
/// \param tolerance of hum; as well as a line is placed in a block
[[nodiscard]] std::string kind_of_line(Hertz frequency, Hertz tolerance = Hertz(0.5));

/// What a channel, or a segment of it, is (docs/formats.md has each in a sentence).
enum class Verdict { clean, clipped, distorted, input_overload, no_signal, no_tone, unusable };

/// What the judgement is made against.
struct Limits {
  Percent thdn{1.0};                          ///< AES17-2015, 6.2.1 a: −40 dB
  std::optional<Volts> volts_per_full_scale;  ///< peak volts at digital full scale
  measure::Band band{};
  /// Level of a sine that the recording input is known to take without a fault, from its
  /// calibration or its own figures; none where nothing is known.
  std::optional<Dbfs> input_clean_to{};
};

/// One harmonic of a tone.
struct HarmonicLevel {
  int order = 0;        ///< >= 2; 1 is the fundamental
  Decibels level{0.0};  ///< re the fundamental
  double phase_deg =
      0.0;  ///< of the harmonic as a cosine where the fundamental crosses zero upwards, ±180
};

/// Flat-topping, from the clipped-sine model. Absent overdrives: that rail is not flat.
struct FlatTop {
  bool present = false;
  std::optional<Decibels> overdrive_positive, overdrive_negative;
  std::optional<Decibels> uncertainty_positive, uncertainty_negative;  ///< standard uncertainty
  std::optional<Percent> plateau_positive, plateau_negative;           ///< share of the cycle
  std::optional<Decibels> model_residual;  ///< misfit over the harmonics' energy
  std::optional<bool>
      fold_agrees;  ///< whether the folded cycle has the plateaus; none if that cannot be decided
};

/// Whether the recording input was at its own limit. Samples are counted over the whole channel;
/// `present` where more of them lie in a row than a clean tone, or music, has at its peak.
struct InputOverload {
  bool present = false;
  std::int64_t samples_at_full_scale = 0;
  std::int64_t longest_run = 0;  ///< at full scale; where the ceiling is lower, there
  std::int64_t samples_at_ceiling =
      0;                 ///< all at the same code, below full scale; 0 if that is not it
  double ceiling = 1.0;  ///< level at which the input limits, full scales
};

/// Samples at exactly the highest value of one side of the waveform.
struct PeakRuns {
  Dbfs level{0.0};
  std::int64_t samples = 0;
  std::int64_t longest_run = 0;
};

/// A line in the spectrum that is neither the tone nor a harmonic of it.
struct Interference {
  Hertz frequency{0.0};
  Dbfs level{0.0};
  std::string
      kind;  ///< "hum" (a multiple of 50 or 60 Hz), "whine" (where an alternator's is), else "tone"
};

/// Everything said of a stretch of one channel. What cannot be known is absent.
struct Findings {
  Verdict verdict = Verdict::unusable;
  /// Whether the waveform is cut at rails, whatever the limits say; none where that cannot be told.
  std::optional<bool> clipped;
  std::optional<Cause> cause;        ///< none where nothing is wrong, or nothing is known
  std::vector<std::string> reasons;  ///< one sentence each
  /// What keeps flat tops from being told from compression; among the reasons, too, where nothing
  /// else tells.
  std::optional<std::string> question;
  std::optional<Hertz> frequency;
  std::optional<Dbfs> level;     ///< RMS in the measuring band, DC excluded
  std::optional<Volts> level_v;  ///< the same, RMS volts
  std::optional<Dbfs> peak;      ///< highest sample, 0 dBFS at digital full scale
  std::optional<Decibels> crest_factor;
  std::optional<Percent> dc;    ///< of full scale
  std::optional<Percent> thdn;  ///< all but the fundamental over the whole signal
  std::optional<Decibels> thdn_db;
  std::optional<Percent> thd;  ///< harmonics in the band over the fundamental
  std::optional<Decibels> sinad;
  std::optional<Dbfs> noise, noise_a;    ///< without harmonics and interference
  std::optional<Volts> noise_a_v;        ///< RMS
  std::vector<HarmonicLevel> harmonics;  ///< orders 2 … 10, where they exist below half the rate
  FlatTop flat_top;
  InputOverload input_overload;
  std::optional<PeakRuns> peak_positive, peak_negative;  ///< of the whole channel; none if silent
  std::vector<Interference> interference;                ///< strongest first
};

/// Whether a segment is a tone that was asked about: hum in silence is not.
[[nodiscard]] bool is_tone(const measure::Segment& segment);

/// Whether a segment is no louder than an open input or hiss.
[[nodiscard]] bool is_silence(const measure::Segment& segment);

/// What tops that look flat are taken for.
enum class FlatTops {
  cut,      ///< a rail cut them
  rounding  ///< the codes are as coarse
};

/// Judges one segment. What a shape may tell is left open: `question` is not among the reasons yet.
/// \param overload the channel's, as full-scale samples are counted over all of it
[[nodiscard]] Findings judge_segment(const measure::Segment& segment, const InputOverload& overload,
                                     const Limits& limits, FlatTops tops = FlatTops::cut);

/// Findings for what is no steady tone. \param noise where the noise of the whole is known, else
/// null
[[nodiscard]] Findings judge_other(const measure::FrameFigures& figures,
                                   const measure::BlockMeasurement* noise, const Limits& limits);

/// What overloads the input, for a person.
[[nodiscard]] std::string overload_sentence(const InputOverload& overload);

/// The verdict's name as in the JSON document.
[[nodiscard]] const char* name(Verdict verdict);

/// A steady stretch of the recording; times from its start.
struct SegmentFindings {
  Seconds start{0.0}, end{0.0};
  Findings findings;
};

/// A gap, a click or missing samples; times from the start of the recording.
struct Interruption {
  measure::DisturbanceKind kind = measure::DisturbanceKind::gap;
  Seconds start{0.0}, length{0.0};
};

/// A part of a recording; times from its start.
struct Part {
  Seconds start{0.0}, end{0.0};
};

/// One channel: the findings hold for the longest steady tone, the verdict for the worst.
struct ChannelAnalysis {
  int channel = 0;  ///< from 1
  Findings findings;
  std::vector<SegmentFindings> segments;  ///< empty where there is only one
  /// The segment whose figures the findings have, where the recording holds more than one tone.
  std::optional<Part> figures_of = std::nullopt;
  /// Whether the tone rises from segment to segment, as a level ladder or a turned control has it.
  bool level_rises = false;
  /// Where its peaks were looked at, and where the track was given.
  std::optional<ProgrammeFindings> programme = std::nullopt;
  std::optional<PlayedFindings> played = std::nullopt;
  std::vector<Interruption> interruptions = {};  ///< the first hundred, in order of time
  std::int64_t interruption_count = 0;           ///< all of them
};

/// Judges one measured channel.
/// \param memory for a signal that is judged block after block: a waveform that has not changed is
///        not fitted again. Null where there is one recording
[[nodiscard]] ChannelAnalysis judge_channel(int channel, const measure::ChannelRecording& recording,
                                            Hertz rate, const Limits& limits,
                                            WaveformMemory* memory = nullptr);

/// The word in the JSON document: "gap", "click" or "jump".
[[nodiscard]] const char* name(measure::DisturbanceKind kind);

/// Whether every verdict is within limits: exit status 0 of `analyze`. Silence is; music is.
[[nodiscard]] bool within_limits(const std::vector<ChannelAnalysis>& channels);

}  // namespace railtap::judge
