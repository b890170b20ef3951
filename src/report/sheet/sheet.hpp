// SPDX-License-Identifier: MIT
// The setup sheet: all that a job's record says, on one page that needs nothing else.
#pragma once

#include <string>

namespace railtap::report {

/// One HTML document without scripts, links or other files. Both texts are JSON of
/// railtap.record/1, known to be whole; every number on the sheet is marked with its place in them.
/// \param earlier_json a record to set beside it; empty: none
[[nodiscard]] std::string sheet_html(const std::string& record_json,
                                     const std::string& earlier_json = "");

}  // namespace railtap::report
