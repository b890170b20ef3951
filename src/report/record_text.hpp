// SPDX-License-Identifier: MIT
// What a job's record holds, an entry a line.
#pragma once

#include <string>

#include "system/job_record.hpp"

namespace railtap::report {

/// Name, then time, kind, subject, the result's main numbers and the note of every entry.
[[nodiscard]] std::string record_text(const system::JobRecord& record);

}  // namespace railtap::report
