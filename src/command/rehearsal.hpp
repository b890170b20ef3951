// SPDX-License-Identifier: MIT
// A walk's rehearsal: a virtual car behind the same calls as a live input.
#pragma once

#include <cstdint>
#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "command/walk_loop.hpp"
#include "command/walk_steps.hpp"
#include "rig/description.hpp"
#include "system/json.hpp"

namespace railtap::command {

/// What is rehearsed on.
struct RehearsalSetup {
  std::string description;  ///< the file of a virtual car; empty: the camper van
  std::uint64_t seed = 0;   ///< of the faults that are drawn; 0: none
};

/// The virtual car. Its volume stands at half, its gains as described or drawn.
class Rehearsal {
 public:
  /// \param kept what state() gave when it was left; null at the beginning
  /// \throws Error where the description cannot be read, or `kept` is not of this car
  Rehearsal(const RehearsalSetup& setup, const system::Json& kept);
  ~Rehearsal();
  Rehearsal(Rehearsal&&) noexcept;
  Rehearsal& operator=(Rehearsal&&) = delete;

  /// What is printed on its parts, as a described system.
  [[nodiscard]] Described described() const;
  /// Plays and records. \param path must not exist
  void record(const Take& take, const std::filesystem::path& path);
  /// Knobs, meter and their state, for the loop. This outlives it.
  [[nodiscard]] WalkAside aside();
  /// For the record: the car and the seed, and at the end every fault, found or not.
  [[nodiscard]] system::Json outcome(bool at_end) const;
  /// The faults in words, a line each.
  [[nodiscard]] std::vector<std::string> told() const;

 private:
  struct Car;
  std::unique_ptr<Car> car_;
};

}  // namespace railtap::command
