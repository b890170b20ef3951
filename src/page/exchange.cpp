// SPDX-License-Identifier: MIT
// The slot for the latest state, and the queue of presses.
#include "page/exchange.hpp"

#include <algorithm>

#include "page/page_state.hpp"

namespace railtap::page {

void Exchange::publish(const PageState& state) {
  auto document = std::make_shared<const std::string>(page_json(state));
  std::vector<std::string> keys;
  for (const Button& button : state.buttons) keys.push_back(button.key);
  {
    const std::lock_guard lock(mutex_);
    latest_.document.swap(document);
    ++latest_.version;
    latest_.at = Clock::now();
    keys_.swap(keys);
    asks_ = state.question.has_value();
    step_ = state.step;
  }
  changed_.notify_all();
}

Exchange::Seen Exchange::wait(std::uint64_t known, std::chrono::milliseconds patience) const {
  std::unique_lock lock(mutex_);
  changed_.wait_for(lock, patience, [&] { return closed_ || latest_.version != known; });
  return latest_;
}

bool Exchange::offers(const Press& press) const {
  if (press.step != step_) return false;
  if (press.kind == Press::Kind::answer) return asks_;
  return std::find(keys_.begin(), keys_.end(), press.text) != keys_.end();
}

Taken Exchange::put(Press press) {
  const std::lock_guard lock(mutex_);
  if (!offers(press)) return Taken::not_offered;
  if (presses_.size() >= most_presses) return Taken::full;
  presses_.push_back(std::move(press));
  return Taken::yes;
}

std::optional<Press> Exchange::take() {
  const std::lock_guard lock(mutex_);
  // What was meant for a step that is over is dropped.
  while (!presses_.empty() && presses_.front().step != step_) presses_.pop_front();
  if (presses_.empty()) return std::nullopt;
  Press press = std::move(presses_.front());
  presses_.pop_front();
  return press;
}

void Exchange::close() {
  {
    const std::lock_guard lock(mutex_);
    closed_ = true;
  }
  changed_.notify_all();
}

bool Exchange::closed() const {
  const std::lock_guard lock(mutex_);
  return closed_;
}

}  // namespace railtap::page
