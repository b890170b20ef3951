// SPDX-License-Identifier: MIT
// The sentence and the remedy of each cause.
#include "judge/cause_words.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <string>

#include "judge/turning.hpp"
#include "units/print.hpp"

namespace railtap::judge::words {
namespace {

std::string not_clipped(const Findings& f) {
  if (!f.clipped) return "Whether it is clipped cannot be told. ";
  return *f.clipped ? "Clipped: " : "Not clipped: ";
}

// "the 1.12 %", or most of it.
std::string the_residual(const Cause& cause, const Findings& f) {
  constexpr double nearly_all = 85.0;
  const std::string whole = f.thdn ? format_quantity(*f.thdn, 3) : "rest";
  const bool all = !cause.share || cause.share->value() > nearly_all;
  std::string text = all ? "the " + whole + " is " : "most of the " + whole + " is ";
  if (!f.clipped) text.front() = all ? 'T' : 'M';  // it begins a sentence
  return text;
}

std::string times(std::int64_t count, const char* one, const char* many) {
  return std::to_string(count) + " " + (count == 1 ? one : many);
}

std::string at(std::int64_t frame, Hertz rate) {
  return format_fixed(Seconds(static_cast<double>(frame) / rate.value()), 2);
}

const char* line_name(CauseKind kind) {
  if (kind == CauseKind::hum) return "hum";
  return kind == CauseKind::whine ? "whine" : "another tone";
}

const char* line_remedy(CauseKind kind) {
  if (kind == CauseKind::hum)
    return "Look at the ground: run the laptop from its battery, keep leads away from mains, and "
           "ground at one point only.";
  if (kind == CauseKind::whine)
    return "Look at ground and supply: whether it follows the engine's speed, or a phone charger. "
           "Keep signal leads away from the feed.";
  return "Find what else plays: a second source, a switching supply, a telephone.";
}

// "wow), by 0.5 %". What is slower than 6 Hz is wow, what is faster flutter (common practice).
std::string wavering_text(const measure::FollowedTone& tone) {
  constexpr Hertz fastest_wow{6.0};
  const bool wow = measure::wavering_rate(tone) < fastest_wow;
  return std::string(wow ? "wow" : "flutter") + "), by " +
         format_quantity(Percent(100.0 * std::numbers::sqrt2 * tone.speed), 2);
}

}  // namespace

void clipping(Cause& cause, const Findings&, const measure::ShapeFit* filtered) {
  const std::string over =
      cause.turn_down ? ", " + overdrive_text(*cause.turn_down) + " over the rail" : "";
  if (cause.turn_down && *cause.turn_down > most_overdrive_told) {
    cause.turn_down.reset();
    cause.sentence = "Clipped: the wave is nearly square" + over + ", or a square wave was played.";
    cause.remedy = "Play a sine, turn down by " + format_fixed(most_overdrive_told, 0) +
                   " or more, and record again.";
    return;
  }
  if (filtered == nullptr) {
    cause.sentence = "Clipped: the tops are flat" + over + ".";
  } else {
    std::string what;
    if (filtered->high_pass > Hertz(0.0))
      what = "tilted by a high-pass at about " + format_quantity(filtered->high_pass, 2);
    if (filtered->low_pass > Hertz(0.0)) {
      if (!what.empty()) what += " and ";
      what += "rounded by a low-pass at about " + format_quantity(filtered->low_pass, 2);
    }
    cause.sentence =
        "Clipped: flat tops" + (what.empty() ? "" : ", " + what + " behind the clip") + over + ".";
  }
  cause.remedy = cause.turn_down ? "Turn down by " + format_fixed(*cause.turn_down, 2) +
                                       ", and the rail is just not reached."
                                 : "Turn down.";
}

void moving_rail(Cause& cause) {
  if (!cause.turn_down) return;
  cause.sentence =
      "Clipped: the tops are flat, at a rail that moves (its supply ripples or sags), " +
      overdrive_text(*cause.turn_down) + " over its mean.";
  cause.remedy = "Turn down by " + format_fixed(*cause.turn_down, 1) +
                 " or more, and look at the supply: battery, leads, earth.";
}

void input_overload(Cause& cause, const Findings&) {
  cause.sentence = "The recording input is overloaded; what comes before it cannot be judged.";
  cause.remedy = "Lower the input level, or take more attenuation, and record again.";
}

void unknown_shape(Cause& cause, const Findings& f, bool few) {
  cause.kind = CauseKind::unknown;
  if (few) {
    cause.sentence = "The harmonics are too few or too weak to tell flat tops from compression.";
    cause.remedy = "Record a tone of 1 kHz or lower at the same setting.";
    return;
  }
  cause.sentence = not_clipped(f) +
                   "The harmonics are those of no single fault: rails, soft compression, crossover "
                   "distortion and a slew limit do not explain them.";
  cause.remedy = "Look at the waveform (--svg); record again 6 dB lower, and see what disappears.";
}

void narrow_recording(Cause& cause, Hertz highest) {
  cause.kind = CauseKind::unknown;
  cause.sentence =
      "Whether it is clipped cannot be told: the recorder lets little pass above about " +
      format_quantity(highest, 1) + ".";
  cause.remedy =
      "Switch its voice filter or noise reduction off, or record a tone of 100 Hz at the same "
      "setting.";
}

void crossover(Cause& cause, Percent half_width) {
  cause.sentence =
      "Not clipped: a dead zone where the wave crosses zero (crossover distortion), up to " +
      format_quantity(half_width, 2) + " of the peak.";
  cause.remedy =
      "Turning down makes it worse. The output stage's bias is wrong or a part has failed: compare "
      "with another channel, and have the amplifier repaired.";
}

void slew(Cause& cause, Percent speed) {
  // Where the whole cycle is slewed, its height says nothing of the tone that would be there.
  constexpr double whole_cycle = 64.0;
  const bool whole = speed.value() < whole_cycle;
  cause.sentence = std::string("Not clipped: straight slopes (slew-rate limiting): it reaches ") +
                   (whole ? "less than " : "") +
                   format_quantity(whole ? Percent(whole_cycle) : speed, 2) +
                   " of the slew rate that the tone needs.";
  if (whole) cause.turn_down.reset();
  cause.remedy = (cause.turn_down ? "Turn down by " + format_fixed(*cause.turn_down, 1)
                                  : std::string("Turn down by 4 dB or more")) +
                 ", or take a lower tone: the fault grows with level and frequency.";
}

void bend(Cause& cause, const measure::ShapeFit& shape, Percent limit) {
  if (shape.even) {
    cause.sentence =
        "Not clipped: one half of the wave is compressed more than the other (even harmonics).";
  } else if (shape.compressed) {
    cause.sentence = "Not clipped: the crests are rounded gradually (soft compression).";
  } else {
    cause.kind = CauseKind::unknown;
    cause.sentence = "Not clipped: the crests are higher than those of a linear stage (expansion).";
    cause.remedy = "Look for an expander, or sound processing that is on.";
    cause.turn_down.reset();
    return;
  }
  cause.remedy = cause.turn_down ? "Turn down by " + format_fixed(*cause.turn_down, 1) + " for " +
                                       format_quantity(limit, 3) + "."
                                 : "Turn down.";
}

void coarse_codes(Cause& cause, const Findings& f, double code_step) {
  const auto bits = std::to_string(1 - std::lround(std::log2(code_step)));
  cause.sentence = not_clipped(f) + the_residual(cause, f) + "quantisation to " + bits + " bits.";
  cause.remedy = "Record with more bits, or louder.";
}

void too_soft(Cause& cause, const Findings& f) {
  constexpr Dbfs aim{-6.0};
  cause.sentence = "The level of the recording is low, " + format_fixed(*f.level, 1) + "; " +
                   (f.thdn ? "its own noise is " + format_quantity(*f.thdn, 3) + " of it."
                           : std::string("its own noise shows."));
  cause.remedy = "Record it louder, by up to " + format_fixed(aim - *f.level, 0) +
                 ": raise the input level, or take less attenuation.";
}

void hiss(Cause& cause, const Findings& f) {
  cause.sentence = not_clipped(f) + the_residual(cause, f) + "hiss" +
                   (f.noise ? ", " + format_fixed(*f.noise, 1) : "") + ".";
  cause.remedy =
      "Give the amplifier more level and less gain; record silence at the same setting to see "
      "which "
      "stage hisses.";
}

void line(Cause& cause, const Findings& f, Pitch pitch) {
  std::string what = line_name(cause.kind);
  cause.remedy = line_remedy(cause.kind);
  if (pitch == Pitch::moves) {
    what = "a " + what + " whose pitch moves, about " + format_quantity(*cause.frequency, 2);
  } else if (cause.frequency) {
    what += " at " + format_quantity(*cause.frequency, 4);
  }
  cause.sentence = not_clipped(f) + the_residual(cause, f) + what + ".";
}

void fast_pumping(Cause& cause, const Findings& f) {
  cause.sentence = not_clipped(f) + the_residual(cause, f) +
                   "a level that pumps: automatic level control or a limiter is on.";
  cause.remedy =
      "Switch off automatic level control and noise suppression in the recorder, then a limiter in "
      "the chain.";
}

void speed(Cause& cause, const Findings& f, const measure::FollowedTone* followed) {
  if (f.thdn) {
    cause.sentence = not_clipped(f) + the_residual(cause, f) +
                     (followed ? "a speed that wavers (" + wavering_text(*followed)
                               : std::string("wow and flutter"));
  } else {
    cause.sentence = "The speed wavers (" + wavering_text(*followed);
  }
  cause.sentence += ", in the player or in the recorder.";
  cause.remedy =
      "Play from a file, record by wire, without a radio link in between, and with one program "
      "that uses the input.";
}

void pitch_goes(Cause& cause, const measure::FollowedTone& tone) {
  // No player drifts by a semitone (common practice).
  constexpr double most_drift = 0.06;
  const bool drift = std::abs(tone.last / tone.first - 1.0) < most_drift;
  cause.sentence = std::string("The pitch of the tone ") +
                   (tone.last > tone.first ? "rises" : "falls") + " from " +
                   format_quantity(tone.first, 3) + " to " + format_quantity(tone.last, 3) +
                   ": a sweep was played" + (drift ? ", or the speed drifts." : ".");
  cause.remedy = "Play one steady tone; a sweep is for `railtap verify`.";
}

void interrupted(Cause& cause, const measure::FoundDisturbances& found, const Findings& f,
                 Hertz rate) {
  std::string what;
  const auto add = [&](std::int64_t count, const char* one, const char* many) {
    if (count == 0) return;
    what += (what.empty() ? "" : ", ") + times(count, one, many);
  };
  add(found.gaps, "gap", "gaps");
  add(found.clicks, "click", "clicks");
  add(found.jumps, "place where samples are missing", "places where samples are missing");
  const bool one = found.count() == 1;
  cause.sentence = not_clipped(f) + what + (one ? ", at " : ", the first at ") +
                   at(found.listed.front().first_frame, rate) +
                   (f.verdict == Verdict::clean ? "; the rest is clean." : ".");
  cause.remedy = cause.kind == CauseKind::missing_samples
                     ? "Record again with `railtap capture`, which says whether every sample is "
                       "there; close what else uses the input."
                     : "Look for a loose lead or contact, then for what switches nearby; record "
                       "again with `railtap capture`.";
}

void moving(Cause& cause, const measure::MovingLevel& m, Hertz rate) {
  const std::string range = format_fixed(Decibels(m.highest_db - m.lowest_db), 1);
  const std::string tone = format_quantity(m.frequency, 2);
  if (cause.kind == CauseKind::level_pumping) {
    cause.sentence = "The level of the tone of about " + tone + " pumps, by " + range +
                     ": automatic level control is on, or a limiter works.";
    cause.remedy =
        "Switch off automatic level control, noise suppression and \"enhancement\" of the "
        "recording "
        "input, then a limiter in the chain.";
    return;
  }
  cause.sentence = "The level of the tone of about " + tone +
                   (m.up_db > m.down_db ? " rises by " : " falls by ") + range + " between " +
                   at(m.first_frame, rate) + " and " + at(m.end_frame, rate) +
                   ": a control was turned, or automatic level control is on.";
  cause.remedy =
      "Leave the controls alone while it records, and switch automatic level control off.";
}

void beating(Cause& cause, const measure::FollowedTone& tone, const measure::BesideTone& beside) {
  const bool hum = cause.kind == CauseKind::hum;
  cause.sentence =
      std::string(hum ? "Hum" : "Another tone") + " at " + format_fixed(beside.frequency, 1) +
      ", " + format_quantity(Percent(100.0 * beside.amplitude), 2) +
      " of the tone, beats with it: that moves its level, " + format_fixed(tone.frequency, 1) + ".";
  cause.remedy = line_remedy(cause.kind);
}

}  // namespace railtap::judge::words
