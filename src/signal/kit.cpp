// SPDX-License-Identifier: MIT
// The names of a kit's files.
#include "signal/kit.hpp"

namespace railtap::signal {

std::string file_stem(const Kit& kit, std::size_t index) {
  std::string number = std::to_string(index + 1);
  while (number.size() < 2) number.insert(0, "0");
  return number + "_" + kit.tracks.at(index).name;
}

}  // namespace railtap::signal
