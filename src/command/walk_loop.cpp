// SPDX-License-Identifier: MIT
// The one loop of the guided walk.
#include "command/walk.hpp"

#include <algorithm>

#include "command/dialog.hpp"
#include "command/walk_state.hpp"
#include "units/error.hpp"
#include "units/print.hpp"

namespace railtap::command {
namespace {

// What can be done at every prompt.
enum class Key { none, back, leave_out, again, help, quit };

struct KeyWord {
  Key key;
  const char *letter, *word, *label;
};

constexpr KeyWord key_words[] = {{Key::back, "b", "back", "back"},
                                 {Key::leave_out, "s", "skip", "skip"},
                                 {Key::again, "r", "repeat", "repeat"},
                                 {Key::help, "?", "help", "help"},
                                 {Key::quit, "q", "quit", "quit"}};

Key key_of(const std::string& typed) {
  for (const KeyWord& known : key_words) {
    if (typed == known.letter || typed == known.word) return known.key;
  }
  return typed == "Q" ? Key::quit : Key::none;
}

// "skip no bass amplifier yet": the reason in the same line.
std::optional<std::string> reason_in(const std::string& typed) {
  constexpr std::string_view word = "skip ";
  if (!typed.starts_with(word)) return std::nullopt;
  return std::string(trimmed(typed.substr(word.size())));
}

class Loop {
 public:
  explicit Loop(const WalkJob& job)
      : job_(job), state_(read_walk_state(job.record)), draft_(read_draft(job.record)) {
    notes_ = job.greeting;
  }

  WalkState run() {
    while (true) {
      steps_ = job_.steps(state_);
      pass_over();
      const auto next = std::find_if(steps_.begin(), steps_.end(), [this](const Step& step) {
        return !state_.done.contains(step.name);
      });
      if (next == steps_.end()) break;
      at_ = static_cast<std::size_t>(next - steps_.begin());
      if (draft_.step != next->name) begin(*next);
      take_step(*next);
    }
    if (!notes_.empty()) job_.asker.show({"", notes_, "", {}});
    return state_;
  }

 private:
  // --- State -------------------------------------------------------------------------------------

  void begin(const Step& step) {
    draft_.step = step.name;
    draft_.answers = {};
    draft_.leaving_out = false;
  }

  void keep() {
    if (job_.aside) draft_.rehearsal = job_.aside->state();
    write_draft(job_.record, draft_);
  }

  // A step that cannot be done without another one that was left out.
  void pass_over() {
    for (const Step& step : steps_) {
      if (state_.done.contains(step.name)) continue;
      const auto missing =
          std::find_if(step.needs.begin(), step.needs.end(),
                       [this](const std::string& name) { return state_.left_out.contains(name); });
      if (missing == step.needs.end()) return;
      const std::string why = "it needs '" + *missing + "', which was skipped";
      mark_step(job_.record, step.name, {{"left_out", why}, {"passed_over", true}});
      notes_.push_back(step.title + " is skipped: " + why + ".");
      state_ = read_walk_state(job_.record);
    }
  }

  // --- A step ------------------------------------------------------------------------------------

  void take_step(const Step& step) {
    while (true) {
      const auto prompt = next_prompt(step);
      if (!prompt) {
        if (finish(step)) return;
        continue;
      }
      if (take_answer(step, *prompt)) return;
    }
  }

  std::optional<Prompt> next_prompt(const Step& step) {
    if (draft_.leaving_out) return reason_prompt();
    while (true) {
      try {
        return step.next(draft_.answers);
      } catch (const Error& error) {
        take_back(error);
      }
    }
  }

  // An answer that was right when it was given: a file has changed since.
  void take_back(const Error& error) {
    if (draft_.answers.given.empty()) throw error;
    draft_.answers.given.pop_back();
    keep();
    refuse(error.what());
  }

  static Prompt reason_prompt() {
    Prompt prompt;
    prompt.id = "reason";
    prompt.question = "Why is this step skipped? The record keeps the reason.";
    prompt.take = [](const std::string& typed) {
      if (typed.empty()) throw Error("a reason is needed", "", "a few words, or b for not to skip");
      return typed;
    };
    return prompt;
  }

  bool finish(const Step& step) {
    std::optional<Outcome> outcome;
    try {
      outcome = step.finish(draft_.answers);
    } catch (const Error& error) {
      take_back(error);
      return false;
    }
    mark_step(job_.record, step.name, outcome->details, outcome->system,
              std::move(outcome->entries));
    if (!outcome->words.empty()) notes_.push_back("Right. " + outcome->words);
    done();
    return true;
  }

  void done() {
    draft_.answers = {};
    draft_.step.clear();
    draft_.leaving_out = false;
    keep();
    state_ = read_walk_state(job_.record);
  }

  void leave_out(const Step& step, const std::string& reason) {
    mark_step(job_.record, step.name, {{"left_out", reason}});
    notes_.push_back("Skipped: " + reason + ".");
    done();
  }

  // --- A prompt ----------------------------------------------------------------------------------

  // What an answer leads to; it returns whether the step is over.
  using Act = std::function<bool()>;

  // \returns whether the step is over
  bool take_answer(const Step& step, const Prompt& prompt) {
    const std::string typed = ask(job_.asker, screen_of(step, prompt));
    notes_.clear();
    Act act;
    try {
      act = understood(step, prompt, typed);
    } catch (const BeginAgain& again) {
      act = stay([this, why = again.why] { restart(why); });
    } catch (const Error& error) {
      refuse(error.what());
      return false;
    }
    // What cannot be written down ends the walk, so it is done outside.
    return act();
  }

  static Act stay(const std::function<void()>& what) {
    return [what] {
      what();
      return false;
    };
  }

  // \throws Error for what cannot be done, or is no answer; Stopped
  Act understood(const Step& step, const Prompt& prompt, const std::string& typed) {
    if (const auto reason = reason_in(typed); reason && !draft_.leaving_out)
      return skip(step, *reason);
    if (const Key key = key_of(typed); key != Key::none) return press(step, key);
    if (const auto told = aside(step, typed)) {
      return stay([this, words = *told] {
        notes_.push_back(words);
        keep();
      });
    }
    return answer(step, prompt, typed);
  }

  std::optional<std::string> aside(const Step& step, const std::string& typed) const {
    if (!job_.aside || draft_.leaving_out) return std::nullopt;
    return job_.aside->take(typed, step);
  }

  Act answer(const Step& step, const Prompt& prompt, const std::string& typed) {
    const std::string taken = prompt.take(typed);
    if (draft_.leaving_out) {
      return [this, &step, taken] {
        leave_out(step, taken);
        return true;
      };
    }
    return stay([this, id = prompt.id, taken] {
      draft_.answers.given.push_back({id, taken});
      keep();
    });
  }

  Act press(const Step& step, Key key) {
    switch (key) {
      case Key::quit:
        throw Stopped{};
      case Key::back:
        return back();
      case Key::leave_out:
        return skip(step, "");
      case Key::again:
        return stay([this] { restart("The step from its beginning."); });
      default:
        return stay([this, &step] { help(step); });
    }
  }

  void restart(const std::string& why) {
    draft_.answers = {};
    draft_.leaving_out = false;
    keep();
    told_.clear();
    notes_.push_back(why);
  }

  Act skip(const Step& step, const std::string& reason) {
    if (!step.optional) throw Error("this step cannot be skipped", "", "the others build on it");
    if (!reason.empty()) {
      return [this, &step, reason] {
        leave_out(step, reason);
        return true;
      };
    }
    return stay([this] {
      draft_.leaving_out = true;
      keep();
    });
  }

  // To the prompt before; at a step's first one, to the step before.
  Act back() {
    if (draft_.leaving_out || !draft_.answers.given.empty()) {
      return stay([this] {
        if (!draft_.leaving_out) draft_.answers.given.pop_back();
        draft_.leaving_out = false;
        keep();
      });
    }
    if (at_ == 0) throw Error("this is the first step", "", "answer it, or q to stop");
    return [this] {
      reopen_step_before();
      return true;
    };
  }

  void reopen_step_before() {
    draft_.step.clear();
    keep();
    std::size_t before = at_;
    do {
      --before;
      mark_undone(job_.record, steps_[before].name);
    } while (before > 0 && state_.passed_over.contains(steps_[before].name));
    state_ = read_walk_state(job_.record);
  }

  void help(const Step& step) {
    if (!step.help.empty()) notes_.push_back(step.help);
    notes_.push_back(
        "b goes back to the question before, or to the step before; s skips this step and asks "
        "why; r begins this step again; q stops, and the same command goes on at this "
        "question later. A file whose name is one of these letters is given as ./b.");
    if (!job_.aside) return;
    for (const std::string& line : job_.aside->help) notes_.push_back(line);
  }

  void refuse(const std::string& why) {
    notes_.push_back("Not yet: " + why + (why.ends_with('.') ? "" : "."));
  }

  Screen screen_of(const Step& step, const Prompt& prompt) {
    Screen screen;
    screen.title = "Step " + std::to_string(at_ + 1) + of_all() + ": " + step.title;
    screen.lines = notes_;
    // After a refusal or a key, what to do was read already.
    const bool again =
        told_ == step.name + "\n" + prompt.id && !notes_.empty() && notes_ != job_.greeting;
    if (!again) screen.lines.insert(screen.lines.end(), prompt.lines.begin(), prompt.lines.end());
    told_ = step.name + "\n" + prompt.id;
    if (job_.aside) {
      for (std::string& line : job_.aside->display(step)) screen.lines.push_back(std::move(line));
      screen.meter = job_.aside->meter(step);
    }
    screen.question = prompt.question;
    screen.buttons = buttons_of(step, prompt);
    if (prompt.records || screen.meter) screen.listening = step.listening;
    return screen;
  }

  // How many steps there are is known once the gain controls are.
  [[nodiscard]] std::string of_all() const {
    return state_.done.contains("facts") ? " of " + std::to_string(steps_.size()) : "";
  }

  std::vector<Button> buttons_of(const Step& step, const Prompt& prompt) const {
    std::vector<Button> buttons = prompt.buttons;
    if (job_.aside) {
      const auto more = job_.aside->buttons(step);
      buttons.insert(buttons.end(), more.begin(), more.end());
    }
    for (const KeyWord& known : key_words) {
      if (known.key == Key::leave_out && (!step.optional || draft_.leaving_out)) continue;
      if (known.key == Key::back && at_ == 0 && draft_.answers.given.empty()) continue;
      buttons.push_back({known.letter, known.label});
    }
    return buttons;
  }

  const WalkJob& job_;
  WalkState state_;
  WalkDraft draft_;
  std::vector<Step> steps_;
  std::size_t at_ = 0;
  std::vector<std::string> notes_;  // for the next screen
  std::string told_;                // step and prompt of the last one
};

}  // namespace

WalkState walk_through(const WalkJob& job) {
  return Loop(job).run();
}

}  // namespace railtap::command
