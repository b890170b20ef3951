// SPDX-License-Identifier: MIT
// One measured step of a ladder, judged and described by itself.
#pragma once

#include <optional>

#include "judge/onset.hpp"
#include "measure/known_steps.hpp"
#include "units/quantity.hpp"

namespace railtap::judge {

/// Judges a step like a whole recording: measured steps of any signal.
/// \param rate samples per second, > 0
[[nodiscard]] Findings judge_step(const measure::MeasuredStep& measured, Hertz rate,
                                  const Limits& limits);

/// Judges a step like a whole recording and puts it in the document's terms.
/// \param rate samples per second, > 0
[[nodiscard]] OnsetStep describe_step(const measure::MeasuredStep& measured, Hertz rate,
                                      const std::optional<LadderInput>& input,
                                      const Limits& limits);

}  // namespace railtap::judge
