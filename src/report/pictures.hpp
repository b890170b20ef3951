// SPDX-License-Identifier: MIT
// The pictures of what was measured, each drawn from a document and from nothing else.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "report/svg/plot.hpp"
#include "report/words.hpp"

namespace railtap::report {

/// What a picture is called.
struct PictureName {
  std::string id;       ///< for a file's name: letters, digits and hyphens
  std::string subject;  ///< whose it is, any text; may be empty
};

/// Each is absent where the document does not have what it shows. `channel` is one of the
/// "channels" of railtap.analysis/1, made with curves.
[[nodiscard]] std::optional<svg::Plot> cycle_picture(const JsonView& channel,
                                                     const PictureName& name);
[[nodiscard]] std::optional<svg::Plot> transfer_picture(const JsonView& channel,
                                                        const PictureName& name);
[[nodiscard]] std::optional<svg::Plot> spectrum_picture(const JsonView& channel,
                                                        const PictureName& name);
/// `channel` is one of railtap.analysis/1 with segments, or of railtap.onset/1.
[[nodiscard]] std::optional<svg::Plot> level_picture(const JsonView& channel,
                                                     const PictureName& name);
/// `channel` is one of railtap.onset/1.
[[nodiscard]] std::optional<svg::Plot> distortion_picture(const JsonView& channel,
                                                          const JsonView& limit_percent,
                                                          const PictureName& name);
/// `points` is a list of objects with "frequency_hz" and "magnitude_db", `tones` one with
/// "frequency_hz" and "response_db"; either may be empty.
[[nodiscard]] std::optional<svg::Plot> response_picture(const JsonView& points,
                                                        const JsonView& tones,
                                                        const PictureName& name);

/// All that a document of railtap.analysis/1 or railtap.onset/1 gives, channel after channel.
[[nodiscard]] std::vector<svg::Plot> pictures_of(const system::Json& document);

}  // namespace railtap::report
