// SPDX-License-Identifier: MIT
// A walk's rehearsal: a virtual car behind the same calls as a live input; what is wrong with it:
// drawn, seen by looking inside, and mended; and its knobs, turned by words.
#pragma once

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <variant>
#include <vector>

#include "command/walk.hpp"
#include "rig/description.hpp"
#include "system/json.hpp"
#include "units/quantity.hpp"

namespace railtap::command {

// A walk's rehearsal: a virtual car behind the same calls as a live input, and what is wrong with
// it: drawn, seen by looking inside, and mended.

// What is wrong with a virtual car: drawn for a rehearsal, seen by looking inside, and mended.

/// The kinds of faults that a rehearsal knows.
enum class FaultKind {
  swapped,        ///< left and right of a control
  inverted,       ///< plus and minus of one output
  not_connected,  ///< one output
  filter_on,      ///< a high-pass or low-pass of a control
  boost_on,       ///< of the bass, at a control
  gain_too_high,  ///< far above where a speaker-level source wants it
  hum,
  level_control,  ///< of the recorder
  tone_controls   ///< of the head unit, or its loudness
};

/// One of them, and where.
struct CarFault {
  FaultKind kind = FaultKind::swapped;
  std::optional<std::size_t> control;  ///< counted over all amplifiers
  std::size_t output = 0;              ///< of the control, where the kind belongs to one
  bool operator==(const CarFault&) const = default;
};

/// A rig's gain controls, over all amplifiers. The pointers are into it.
struct ControlPlace {
  rig::Amplifier* amplifier;
  rig::Control* control;
};
[[nodiscard]] std::vector<ControlPlace> controls_of(rig::Rig& rig);

/// What an output of a control is called: as described, without the sign of crossed wires; the
/// control's name where there is one output only.
[[nodiscard]] std::string output_name(const rig::Control& control, std::size_t output);

/// Takes out every fault, and turns all gains to minimum.
void mend_all(rig::Rig& rig);

/// Adds three faults: one of the wiring, one gain too high, and one of the rest.
void draw_faults(rig::Rig& rig, std::uint64_t seed);

/// What is wrong now.
[[nodiscard]] std::vector<CarFault> faults_in(rig::Rig& rig);

/// Undoes one kind of fault at a place, or makes one where there is none: exchanging two pairs that
/// were right swaps them. Gains are not turned.
void mend(rig::Rig& rig, const CarFault& fault);

/// "front: left and right are swapped"
[[nodiscard]] std::string describe(rig::Rig& rig, const CarFault& fault);

/// The word for it in a record: "swapped".
[[nodiscard]] const char* name(FaultKind kind);

// A walk's rehearsal: a virtual car behind the same calls as a live input.

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
  /// Where a gain control stands: "15.0 %" of its travel.
  [[nodiscard]] std::string gain_position(const std::string& control) const;
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

// What a person says to a virtual car: "turn the volume up 3", "gain front +2 dB", "++".

/// The volume, to a step or by some.
struct TurnVolume {
  bool by = false;
  int steps = 0;
};

/// A gain, by decibels or to a place of its travel.
struct TurnGain {
  std::optional<std::string> control;  ///< as it was named; none: the one at hand
  std::optional<Decibels> by;
  Percent to{0.0};
};

/// A fault to be mended; where, as it was named.
struct MendFault {
  FaultKind kind = FaultKind::swapped;
  std::string where;  ///< a control or an output; empty for what the car has once
};

using CarWords = std::variant<TurnVolume, TurnGain, MendFault>;

/// Reads what was typed. None where it is not meant for the car: an answer, or a file's name.
/// \throws Error where it is, and cannot be understood
[[nodiscard]] std::optional<CarWords> car_words(const std::string& typed);

/// What can be said, a line each.
[[nodiscard]] std::vector<std::string> car_words_help();

}  // namespace railtap::command
