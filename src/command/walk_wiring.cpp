// SPDX-License-Identifier: MIT
// The guided walk's judgement of wiring and filters.
#include "command/walk_wiring.hpp"

#include <algorithm>
#include <array>
#include <string>
#include <vector>

#include "command/recording_options.hpp"
#include "command/verify_capture.hpp"
#include "report/verification.hpp"
#include "units/error.hpp"

namespace railtap::command {
namespace {

using judge::Carries;
using judge::Severity;

Carries side_of(const std::string& carries) {
  for (const Carries side : {Carries::left, Carries::right, Carries::both}) {
    if (carries == judge::name(side)) return side;
  }
  return Carries::cannot_tell;
}

judge::VerificationLimits limits_for(const WalkChannel& channel, std::size_t recorded,
                                     std::optional<Volts> volts_per_full_scale) {
  judge::VerificationLimits limits;
  limits.volts_per_full_scale = volts_per_full_scale;
  limits.filters_allowed = channel.bass;
  const bool all_known =
      channel.carries.size() >= recorded &&
      std::none_of(channel.carries.begin(), channel.carries.end(),
                   [](const std::string& side) { return side_of(side) == Carries::cannot_tell; });
  if (!all_known) return limits;
  for (std::size_t i = 0; i < recorded; ++i) limits.expected.push_back(side_of(channel.carries[i]));
  return limits;
}

// "channel 2" in a sentence becomes the output's name.
std::string with_names(std::string text, const WalkChannel& channel) {
  for (std::size_t i = 0; i < channel.outputs.size(); ++i) {
    const int number = static_cast<int>(i) + 1;
    const std::string plain = "channel " + std::to_string(number);
    const std::string name = channel_name(channel.outputs, number);
    for (auto at = text.find(plain); at != std::string::npos;
         at = text.find(plain, at + name.size()))
      text.replace(at, plain.size(), name);
  }
  return text;
}

void add(std::vector<std::string>& to, std::string text) {
  if (std::find(to.begin(), to.end(), text) == to.end()) to.push_back(std::move(text));
}

bool is_swapped(const judge::Verification& verification) {
  const auto carries = [&](std::size_t channel, Carries what) {
    const auto& identity = verification.channels[channel].identity;
    return identity && identity->carries == what;
  };
  return verification.channels.size() > 1 && carries(0, Carries::right) &&
         carries(1, Carries::left);
}

// What is said with this severity: of the pair, then of each output.
std::vector<std::string> said(const judge::Verification& verification, const WalkChannel& channel,
                              Severity severity) {
  std::vector<std::string> texts;
  if (verification.pair) {
    for (const judge::Finding& finding : verification.pair->findings)
      if (finding.severity == severity) add(texts, with_names(finding.text, channel));
  }
  const bool swapped = is_swapped(verification);
  for (const auto& one : verification.channels) {
    for (const judge::Finding& finding : one.findings) {
      // That the pairs are swapped was said above.
      if (finding.severity != severity || (swapped && finding.text.starts_with("It carries")))
        continue;
      add(texts, channel_name(channel.outputs, one.channel) + ": " + finding.text);
    }
  }
  return texts;
}

std::string one_after_the_other(const std::vector<std::string>& texts) {
  constexpr std::size_t most = 3;  // what is mended first
  std::string all;
  for (std::size_t i = 0; i < std::min(most, texts.size()); ++i)
    all += (all.empty() ? "" : " ") + texts[i];
  if (all.ends_with('.')) all.pop_back();
  return all;
}

bool hears_nothing(const judge::Verification& verification) {
  return std::none_of(verification.channels.begin(), verification.channels.end(),
                      [](const auto& channel) { return channel.identity.has_value(); });
}

}  // namespace

Accepted check_wiring(const std::filesystem::path& file, const WalkChannel& channel,
                      std::optional<Volts> volts_per_full_scale) {
  VerifyCapture capture = measure_verification(file, 1);
  report::VerificationDocument document;
  document.limits = limits_for(channel, capture.channels.size(), volts_per_full_scale);
  document.files.push_back(std::move(capture.file));
  document.verification = judge::judge_verification(capture.channels, nullptr, document.limits);
  document.warnings = capture.provenance.warnings;
  if (hears_nothing(document.verification))
    throw Error("the verification track is not in it", file.string(),
                "play the track from its beginning while it records");
  const auto faults = said(document.verification, channel, Severity::fault);
  if (!faults.empty())
    throw Error(one_after_the_other(faults), "", "put it right and record it again");
  system::RecordEntry entry;
  entry.kind = "verification";
  entry.subject = channel.plate.name;
  entry.stage = "amplifier";
  entry.moment = "after";
  entry.calibration = calibration_summary(volts_per_full_scale);
  entry.result = report::verification_json(document);
  const auto open = said(document.verification, channel, Severity::caution);
  std::string words =
      "No fault in the wiring." + not_recorded(channel, document.verification.channels.size());
  if (!open.empty()) words += " Not decided: " + one_after_the_other(open) + ".";
  return {{entry}, words, system::Json::object(), {}};
}

}  // namespace railtap::command
