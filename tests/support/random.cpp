// SPDX-License-Identifier: MIT
// Random numbers with fixed seeds, so that every run is the same.
#include "support/random.hpp"

#include "measure/kernels.hpp"

namespace railtap::test {
namespace {

using Word = Random::result_type;
constexpr std::size_t words = Random::words;

// Of MT19937-64 [ISO/IEC 14882:2020, 26.6.6]: how far ahead a word is mixed in, the low bits of a
// word, what is added for its last one, and the masks of the tempering.
constexpr std::size_t ahead = 156;
constexpr Word low_bits = (Word{1} << 31U) - 1U;
constexpr Word twist = 0xB5026F5AA96619E9U;
constexpr Word temper_29 = 0x5555555555555555U;
constexpr Word temper_17 = 0x71D67FFFEDA60000U;
constexpr Word temper_37 = 0xFFF7EEE000000000U;
constexpr Word seeding = 6364136223846793005U;

constexpr Word twisted(Word here, Word next) {
  const Word both = (here & ~low_bits) | (next & low_bits);
  return (both >> 1U) ^ ((0U - (both & 1U)) & twist);
}

// Without a branch, so that several words are worked on at once.
RAILTAP_VECTORIZE void make_words(Word* state, Word* made) {
  for (std::size_t k = 0; k < words - ahead; ++k)
    state[k] = state[k + ahead] ^ twisted(state[k], state[k + 1]);
  for (std::size_t k = words - ahead; k + 1 < words; ++k)
    state[k] = state[k - (words - ahead)] ^ twisted(state[k], state[k + 1]);
  state[words - 1] = state[ahead - 1] ^ twisted(state[words - 1], state[0]);
  for (std::size_t k = 0; k < words; ++k) {
    Word word = state[k];
    word ^= (word >> 29U) & temper_29;
    word ^= (word << 17U) & temper_17;
    word ^= (word << 37U) & temper_37;
    made[k] = word ^ (word >> 43U);
  }
}

}  // namespace

Random::Random(result_type seed) : made_{} {
  state_[0] = seed;
  for (std::size_t i = 1; i < words; ++i)
    state_[i] = seeding * (state_[i - 1] ^ (state_[i - 1] >> 62U)) + i;
}

void Random::refill() {
  make_words(state_.data(), made_.data());
  at_ = 0;
}

double Gaussian::operator()(Random& random) {
  if (has_kept_) {
    has_kept_ = false;
    return kept_ * deviation_ + mean_;
  }
  double x = 0.0, y = 0.0, square = 0.0;
  do {
    x = 2.0 * random.uniform() - 1.0;
    y = 2.0 * random.uniform() - 1.0;
    square = x * x + y * y;
  } while (square > 1.0 || square == 0.0);
  const double scale = std::sqrt(-2.0 * std::log(square) / square);
  kept_ = x * scale;
  has_kept_ = true;
  return y * scale * deviation_ + mean_;
}

}  // namespace railtap::test
