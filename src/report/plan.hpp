// SPDX-License-Identifier: MIT
// A plan as a document, as text, and as a checklist to print.
#pragma once

#include <string>
#include <vector>

#include "system/json.hpp"
#include "system/plan.hpp"
#include "system/system_description.hpp"

namespace railtap::report {

/// The document "railtap.plan/1"; what is not known is null.
[[nodiscard]] system::Json plan_json(const system::Plan& plan);

/// Warnings first, then channels, tap, supply and the order of work.
[[nodiscard]] std::string plan_text(const system::Plan& plan);

/// A checklist in Markdown, with room for what was found.
[[nodiscard]] std::string plan_markdown(const system::Plan& plan);

/// The plan's warnings and those of its tap.
[[nodiscard]] std::vector<std::string> plan_warnings(const system::Plan& plan);

using electric::name;  // of a limit

/// "within", "too-little", "too-much".
[[nodiscard]] const char* name(system::GainLanding::Verdict verdict);

/// The described system in a few lines, for whoever checks a file.
[[nodiscard]] std::string system_text(const system::SystemDescription& system);

}  // namespace railtap::report
