// SPDX-License-Identifier: MIT
// The setup sheet: all that a job's record says, on one page that needs nothing else.
#pragma once

#include <string>

#include "system/json.hpp"

namespace railtap::report {

/// One HTML document without scripts, links or other files. Both records are documents of
/// railtap.record/1, known to be whole; every number on the sheet is marked with its place in them.
/// \param earlier a record to set beside it; null: none
[[nodiscard]] std::string sheet_html(const system::Json& record,
                                     const system::Json& earlier = nullptr);

}  // namespace railtap::report
