// SPDX-License-Identifier: MIT
// A sound input as something to watch.
#pragma once

#include "audio/device.hpp"
#include "live/watch.hpp"

namespace railtap::command {

/// Opens the input for figures that come soon after the sound. \throws Error where it cannot
[[nodiscard]] live::WatchJob watched_input(audio::InputRequest request);

}  // namespace railtap::command
