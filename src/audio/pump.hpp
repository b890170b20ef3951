// SPDX-License-Identifier: MIT
// Carries a stream from where it is read to where it is measured, one reading while the other
// works.
#pragma once

#include <cstdint>
#include <functional>
#include <span>

#include "audio/stream.hpp"

namespace railtap::audio {

/// Reads `source` to its end on a thread of its own and hands each block to `consume` on this one,
/// in order. Two to four blocks are in flight, so memory stays the same however long the stream is.
/// What either side throws ends both and is thrown here.
/// \param consume interleaved whole frames, full scale ±1; returns false to stop early
/// \returns frames read
std::int64_t pump(const Source& source,
                  const std::function<bool(std::span<const double>)>& consume);

}  // namespace railtap::audio
