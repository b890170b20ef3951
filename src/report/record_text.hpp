// SPDX-License-Identifier: MIT
// What a job's record holds, an entry a line.
#pragma once

#include <cstddef>
#include <string>

#include "system/job_record.hpp"

namespace railtap::report {

/// Name, then time, kind, subject, the result's main numbers and the note of every entry.
/// \param first the entries from this one on, from 0
[[nodiscard]] std::string record_text(const system::JobRecord& record, std::size_t first = 0);

}  // namespace railtap::report
