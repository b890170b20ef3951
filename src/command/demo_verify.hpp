// SPDX-License-Identifier: MIT
// Wiring and filters in the demo: verified as found, put right, verified again.
#pragma once

#include <filesystem>
#include <iosfwd>
#include <vector>

#include "command/demo_bench.hpp"
#include "command/demo_folder.hpp"
#include "report/demo.hpp"
#include "report/verification.hpp"
#include "signal/tone.hpp"
#include "units/quantity.hpp"

namespace railtap::command {

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

}  // namespace railtap::command
