// SPDX-License-Identifier: MIT
// The demo's job record and its setup sheet, made of the documents that the commands make.
#pragma once

#include <filesystem>
#include <string>

#include "command/demo_bench.hpp"
#include "command/demo_folder.hpp"
#include "command/recorded.hpp"
#include "report/calibration_report.hpp"
#include "report/demo.hpp"
#include "report/target.hpp"
#include "report/verification.hpp"
#include "system/calibration_file.hpp"
#include "system/job_record.hpp"

namespace railtap::command {

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
