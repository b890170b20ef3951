// SPDX-License-Identifier: MIT
// The analysis for a person: a short block per channel, verdict first.
#include <algorithm>
#include <iomanip>
#include <sstream>

#include "report/analysis.hpp"
#include "units/print.hpp"
#include "units/visible.hpp"

namespace railtap::report {
namespace {

constexpr std::size_t most_segments_listed = 40;

const char* headline(judge::Verdict verdict) {
  switch (verdict) {
    case judge::Verdict::clean:
      return "CLEAN";
    case judge::Verdict::clipped:
      return "CLIPPED";
    case judge::Verdict::distorted:
      return "DISTORTED";
    case judge::Verdict::input_overload:
      return "RECORDING INPUT OVERLOADED";
    case judge::Verdict::no_signal:
      return "NO SIGNAL";
    case judge::Verdict::no_tone:
      return "NO STEADY TONE";
    case judge::Verdict::unusable:
      return "UNUSABLE";
  }
  return "UNUSABLE";
}

class Lines {
 public:
  void add(const std::string& label, const std::string& text) {
    out_ << "    " << std::left << std::setw(14) << label << text << '\n';
  }
  [[nodiscard]] std::string text() const { return out_.str(); }

 private:
  std::ostringstream out_;
};

std::string percent(Percent value) {
  return format_quantity(value, 3);
}

void add_level(Lines& lines, const judge::Findings& f) {
  if (!f.level) return;
  std::string text = format_fixed(*f.level, 3);
  if (f.level_v) text += "  =  " + format_quantity(*f.level_v, 4, Zeros::keep) + " RMS";
  lines.add("level", text);
  if (f.peak && f.crest_factor) {
    lines.add("peak", format_fixed(*f.peak, 2) + ", crest factor " +
                          format_fixed(*f.crest_factor, 2) + ", DC " + format_fixed(*f.dc, 3) +
                          " of full scale");
  }
}

// Behind a figure that may be the recording input's.
const char* own_text(bool own) {
  return own ? ", not above the interface's own" : "";
}

void add_distortion(Lines& lines, const judge::Findings& f, const judge::NotAbove& own) {
  if (!f.thdn) return;
  lines.add("frequency", format_fixed(*f.frequency, 3));
  std::string text = percent(*f.thdn);
  if (f.thdn_db) text += " (" + format_fixed(*f.thdn_db, 1) + ")";
  lines.add("THD+N", text + own_text(own.thdn));
  lines.add("THD", percent(*f.thd));
}

void add_noise(Lines& lines, const judge::Findings& f, const judge::NotAbove& own) {
  if (!f.noise) return;
  std::string text = format_fixed(*f.noise, 1);
  if (f.noise_a) text += ", A-weighted " + format_fixed(*f.noise_a, 1);
  if (f.noise_a_v) text += " = " + format_quantity(*f.noise_a_v, 3) + " RMS";
  lines.add("noise", text + own_text(own.noise || own.noise_a));
}

void add_flat_top(Lines& lines, const judge::FlatTop& flat) {
  const auto rail = [&](const char* label, const auto& overdrive, const auto& plateau) {
    if (!overdrive) return;
    std::string text = "over by " + format_fixed(*overdrive, 2);
    if (plateau) text += ", flat for " + format_fixed(*plateau, 1) + " of the cycle";
    lines.add(label, text);
  };
  rail("positive rail", flat.overdrive_positive, flat.plateau_positive);
  rail("negative rail", flat.overdrive_negative, flat.plateau_negative);
}

void add_interference(Lines& lines, const judge::Findings& f) {
  constexpr std::size_t most = 4;
  for (std::size_t i = 0; i < f.interference.size() && i < most; ++i) {
    const auto& line = f.interference[i];
    lines.add(line.kind, format_fixed(line.frequency, 1) + " at " + format_fixed(line.level, 1));
  }
}

std::string segments_text(const std::vector<judge::SegmentFindings>& segments) {
  std::ostringstream out;
  if (segments.empty()) return "";
  out << "    segments      start s    end s     level dBFS      THD+N  verdict\n";
  for (std::size_t i = 0; i < segments.size() && i < most_segments_listed; ++i) {
    const auto& s = segments[i];
    out << "              " << std::right << std::fixed << std::setprecision(1) << std::setw(11)
        << s.start.value() << std::setw(9) << s.end.value() << std::setw(15);
    if (s.findings.level) {
      out << std::setprecision(2) << s.findings.level->value();
    } else {
      out << "-";
    }
    out << std::setw(11) << (s.findings.thdn ? percent(*s.findings.thdn) : "-") << "  "
        << judge::name(s.findings.verdict) << '\n';
  }
  if (segments.size() > most_segments_listed) {
    out << "                  … and " << segments.size() - most_segments_listed
        << " more (--json has them all)\n";
  }
  return out.str();
}

// A flat top below full scale may be the recording input's own analogue stage.
std::string doubt_text(const AnalysisDocument& document, const judge::Findings& f) {
  if (!f.cause || document.compared) return "";
  if (!f.cause->input_excluded || *f.cause->input_excluded) return "";
  return "    One recording cannot tell whether the amplifier or the recording input clips; two "
         "can: railtap analyze " +
         visible(shell_word(document.file_name)) + " --compare-attenuation SECOND_RECORDING 6dB\n";
}

std::string interruptions_text(const judge::ChannelAnalysis& channel) {
  constexpr std::size_t most = 20;
  std::string text;
  for (std::size_t i = 0; i < channel.interruptions.size() && i < most; ++i) {
    const judge::Interruption& one = channel.interruptions[i];
    text += std::string("    ") + judge::name(one.kind) + " at " + format_fixed(one.start, 3);
    if (one.length > Seconds(0.0)) text += ", " + format_quantity(one.length, 2);
    text += '\n';
  }
  const auto listed = static_cast<std::int64_t>(std::min(most, channel.interruptions.size()));
  if (channel.interruption_count > listed)
    text += "    … and " + std::to_string(channel.interruption_count - listed) + " more\n";
  return text;
}

std::string compared_text(const std::optional<AttenuationComparison>& compared, int channel) {
  if (!compared) return "";
  for (const judge::ComparedChannel& c : compared->channels) {
    if (c.channel != channel) continue;
    return "    Against " + visible(compared->file_name) + ": " +
           (c.found ? c.found->sentence : c.obstacle + ".") + '\n';
  }
  return "";
}

}  // namespace

std::string analysis_text(const AnalysisDocument& document) {
  std::ostringstream out;
  const double duration = static_cast<double>(document.frames) / document.format.rate.value();
  out << visible(document.file_name) << ": " << document.format.encoding << ", "
      << document.format.channels << (document.format.channels == 1 ? " channel, " : " channels, ")
      << document.format.rate.value() << " Hz, " << std::fixed << std::setprecision(2) << duration
      << " s\n";
  for (std::size_t i = 0; i < document.channels.size(); ++i) {
    const auto& channel = document.channels[i];
    const judge::NotAbove own = i < document.own.size() ? document.own[i] : judge::NotAbove{};
    const judge::Findings& f = channel.findings;
    out << "\n  Channel " << channel.channel << ": " << headline(f.verdict) << '\n';
    out << compared_text(document.compared, channel.channel);
    if (f.cause) {
      out << "    " << f.cause->sentence << "\n    -> " << f.cause->remedy << '\n';
    }
    out << doubt_text(document, f);
    for (const auto& reason : f.reasons) out << "    " << reason << '\n';
    Lines lines;
    add_level(lines, f);
    add_distortion(lines, f, own);
    add_flat_top(lines, f.flat_top);
    add_noise(lines, f, own);
    add_interference(lines, f);
    out << lines.text() << interruptions_text(channel) << segments_text(channel.segments);
  }
  out << "\n  Levels are RMS re a full-scale sine (AES17), THD+N is all but the fundamental over "
         "the whole,\n  "
      << std::setprecision(0) << document.limits.band.low.value() << " Hz to "
      << document.limits.band.high.value() << " Hz, DC excluded.\n";
  return out.str();
}

}  // namespace railtap::report
