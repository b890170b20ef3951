// SPDX-License-Identifier: MIT
// The filters and tone controls that a car's sound system can have on, as models, and which of them
// a measured response shows.
#include "judge/filters.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "judge/sentence.hpp"
#include "units/print.hpp"

namespace railtap::judge {

// A measured response explained by filters: damped least squares, and which filters to try.

namespace {

using measure::ResponsePoint;

// What the measurement's own bias, and parts that are a little off their nominal curve, may add.
constexpr double model_uncertainty_db = 0.03;
// Deeper than that below the highest point, leakage and crosstalk are part of what is measured.
constexpr double deepest_db = 45.0;

struct Point {
  Hertz frequency;
  double db, weight;  // weight: 1/variance
};

struct Model {
  double level_db = 0.0;
  std::vector<Filter> filters;
  double misfit = 0.0;  // Σ weight·residual²
};

double model_db(const Model& model, Hertz frequency) {
  double power = 1.0;
  for (const Filter& f : model.filters) power *= std::norm(response(f, frequency));
  return model.level_db + 10.0 * std::log10(power);
}

double misfit_of(const Model& model, const std::vector<Point>& points) {
  double sum = 0.0;
  for (const Point& p : points) {
    const double residual = p.db - model_db(model, p.frequency);
    sum += p.weight * residual * residual;
  }
  return sum;
}

// --- Parameters in a row ---------------------------------------------------------------------

bool has_gain(const Filter& f) {
  return f.kind != FilterKind::high_pass && f.kind != FilterKind::low_pass;
}

std::vector<double> parameters_of(const Model& model) {
  std::vector<double> row{model.level_db};
  for (const Filter& f : model.filters) {
    row.push_back(std::log(f.frequency.value()));
    if (has_gain(f)) row.push_back(f.gain.value());
    if (f.kind == FilterKind::peaking) row.push_back(std::log(f.q));
  }
  return row;
}

// Within what the parts of such systems can be; keeps a fit from running away.
Model with_parameters(Model model, const std::vector<double>& row) {
  constexpr double lowest_log_hz = 0.0, highest_log_hz = 11.5;  // 1 Hz … 100 kHz
  constexpr double most_gain_db = 30.0, lowest_log_q = -1.4, highest_log_q = 2.5;
  std::size_t i = 0;
  model.level_db = row[i++];
  for (Filter& f : model.filters) {
    f.frequency = Hertz(std::exp(std::clamp(row[i++], lowest_log_hz, highest_log_hz)));
    if (has_gain(f)) f.gain = Decibels(std::clamp(row[i++], -most_gain_db, most_gain_db));
    if (f.kind == FilterKind::peaking)
      f.q = std::exp(std::clamp(row[i++], lowest_log_q, highest_log_q));
  }
  return model;
}

// --- Damped least squares ----------------------------------------------------------------------

using Matrix = std::vector<std::vector<double>>;

// Solves a·x = b by elimination with row exchange; a is small and was made definite by damping.
std::vector<double> solve(Matrix a, std::vector<double> b) {
  const std::size_t n = b.size();
  for (std::size_t c = 0; c < n; ++c) {
    std::size_t pivot = c;
    for (std::size_t r = c + 1; r < n; ++r) {
      if (std::abs(a[r][c]) > std::abs(a[pivot][c])) pivot = r;
    }
    std::swap(a[c], a[pivot]);
    std::swap(b[c], b[pivot]);
    if (a[c][c] == 0.0) continue;
    for (std::size_t r = c + 1; r < n; ++r) {
      const double factor = a[r][c] / a[c][c];
      for (std::size_t k = c; k < n; ++k) a[r][k] -= factor * a[c][k];
      b[r] -= factor * b[c];
    }
  }
  std::vector<double> x(n, 0.0);
  for (std::size_t c = n; c-- > 0;) {
    double sum = b[c];
    for (std::size_t k = c + 1; k < n; ++k) sum -= a[c][k] * x[k];
    x[c] = a[c][c] != 0.0 ? sum / a[c][c] : 0.0;
  }
  return x;
}

struct Normal {
  Matrix curvature;
  std::vector<double> gradient;
};

Normal normal_equations(const Model& model, const std::vector<double>& row,
                        const std::vector<Point>& points) {
  constexpr double step = 1e-5;
  const std::size_t n = row.size();
  std::vector<Model> moved;
  for (std::size_t k = 0; k < n; ++k) {
    std::vector<double> other = row;
    other[k] += step;
    moved.push_back(with_parameters(model, other));
  }
  Normal normal{Matrix(n, std::vector<double>(n, 0.0)), std::vector<double>(n, 0.0)};
  std::vector<double> slope(n);
  for (const Point& p : points) {
    const double here = model_db(model, p.frequency);
    for (std::size_t k = 0; k < n; ++k) slope[k] = (model_db(moved[k], p.frequency) - here) / step;
    for (std::size_t k = 0; k < n; ++k) {
      normal.gradient[k] += p.weight * slope[k] * (p.db - here);
      for (std::size_t j = 0; j < n; ++j) normal.curvature[k][j] += p.weight * slope[k] * slope[j];
    }
  }
  return normal;
}

// Levenberg-Marquardt [D. W. Marquardt, J. SIAM 11 (1963), p. 431].
Model fitted(Model model, const std::vector<Point>& points, int rounds) {
  model.misfit = misfit_of(model, points);
  double damping = 1e-2;
  for (int round = 0; round < rounds; ++round) {
    const std::vector<double> row = parameters_of(model);
    const Normal normal = normal_equations(model, row, points);
    bool better = false;
    for (int attempt = 0; attempt < 6 && !better; ++attempt) {
      Matrix a = normal.curvature;
      for (std::size_t k = 0; k < a.size(); ++k) a[k][k] = a[k][k] * (1.0 + damping) + 1e-9;
      std::vector<double> next = solve(a, normal.gradient);
      for (std::size_t k = 0; k < next.size(); ++k) next[k] += row[k];
      Model trial = with_parameters(model, next);
      trial.misfit = misfit_of(trial, points);
      better = trial.misfit < model.misfit;
      damping *= better ? 0.2 : 6.0;
      if (!better) continue;
      const bool settled = model.misfit - trial.misfit < 1e-6 * model.misfit;
      model = std::move(trial);
      if (settled) return model;
    }
    if (!better) break;
  }
  return model;
}

// --- What to try -------------------------------------------------------------------------------

bool has(const Model& model, FilterKind kind) {
  return std::any_of(model.filters.begin(), model.filters.end(),
                     [&](const Filter& f) { return f.kind == kind; });
}

double residual_near(const Model& model, const std::vector<Point>& points, double hz) {
  const auto nearest =
      std::min_element(points.begin(), points.end(), [&](const Point& a, const Point& b) {
        return std::abs(std::log(a.frequency.value() / hz)) <
               std::abs(std::log(b.frequency.value() / hz));
      });
  return nearest->db - model_db(model, nearest->frequency);
}

// Starts of one kind: a frequency each octave or closer, gains from what is left to explain there.
std::vector<Filter> starts_of(FilterKind kind, const Model& model,
                              const std::vector<Point>& points) {
  std::vector<Filter> starts;
  const double low = points.front().frequency.value(), high = points.back().frequency.value();
  const bool pass = kind == FilterKind::high_pass || kind == FilterKind::low_pass;
  const double ratio = kind == FilterKind::peaking ? 1.26 : 1.7;
  const int count = 1 + static_cast<int>(std::log(high / low) / std::log(ratio));
  const double end =
      kind == FilterKind::low_shelf ? low : (kind == FilterKind::high_shelf ? high : 0.0);
  for (int k = 0; k <= count; ++k) {
    const double hz = low * std::pow(ratio, k);
    Filter f{kind, FilterFamily::none, 0, Hertz(hz), Decibels(0.0), 0.0};
    if (pass) {
      f.family = FilterFamily::butterworth;
      f.order = 2;
      starts.push_back(f);
      continue;
    }
    f.gain = Decibels(residual_near(model, points, end > 0.0 ? end : hz));
    if (kind == FilterKind::peaking) {
      for (const double q : {0.7, 2.0, 5.0}) {
        f.q = q;
        starts.push_back(f);
      }
    } else {
      f.order = 1;
      starts.push_back(f);
    }
  }
  return starts;
}

// The best of one kind added: every start is looked at, the best three are fitted.
Model with_best(const Model& model, FilterKind kind, const std::vector<Point>& points) {
  std::vector<Model> trials;
  for (const Filter& start : starts_of(kind, model, points)) {
    Model trial = model;
    trial.filters.push_back(start);
    // The level that suits this start best.
    double sum = 0.0, weight = 0.0;
    for (const Point& p : points) {
      sum += p.weight * (p.db - model_db(trial, p.frequency));
      weight += p.weight;
    }
    trial.level_db += sum / weight;
    trial.misfit = misfit_of(trial, points);
    trials.push_back(std::move(trial));
  }
  constexpr std::size_t tried = 3;
  const std::size_t count = std::min(tried, trials.size());
  std::partial_sort(trials.begin(), trials.begin() + static_cast<std::ptrdiff_t>(count),
                    trials.end(),
                    [](const Model& a, const Model& b) { return a.misfit < b.misfit; });
  Model best = model;
  best.misfit = 1e300;
  for (std::size_t k = 0; k < count; ++k) {
    Model fit = fitted(trials[k], points, 25);
    if (fit.misfit < best.misfit) best = std::move(fit);
  }
  return best;
}

struct Shape {
  FilterFamily family;
  int order;
};
constexpr std::array<Shape, 6> pass_shapes{{{FilterFamily::butterworth, 1},
                                            {FilterFamily::butterworth, 2},
                                            {FilterFamily::butterworth, 3},
                                            {FilterFamily::butterworth, 4},
                                            {FilterFamily::linkwitz_riley, 2},
                                            {FilterFamily::linkwitz_riley, 4}}};
constexpr std::array<Shape, 2> shelf_shapes{{{FilterFamily::none, 1}, {FilterFamily::none, 2}}};

std::vector<Shape> shapes_of(const Filter& f) {
  if (!has_gain(f)) return {pass_shapes.begin(), pass_shapes.end()};
  if (f.kind == FilterKind::peaking) return {};
  return {shelf_shapes.begin(), shelf_shapes.end()};
}

// Another family or order of one filter, where that fits better.
bool exchange_shape(Model& model, std::size_t index, const std::vector<Point>& points) {
  Model best = model;
  for (const Shape& shape : shapes_of(model.filters[index])) {
    if (shape.family == model.filters[index].family && shape.order == model.filters[index].order)
      continue;
    Model trial = model;
    trial.filters[index].family = shape.family;
    trial.filters[index].order = shape.order;
    trial = fitted(std::move(trial), points, 25);
    if (trial.misfit < 0.999 * best.misfit) best = std::move(trial);
  }
  const bool better = best.misfit < model.misfit;
  model = std::move(best);
  return better;
}

void exchange_shapes(Model& model, const std::vector<Point>& points) {
  constexpr int most_rounds = 4;
  for (int round = 0; round < most_rounds; ++round) {
    bool better = false;
    for (std::size_t k = 0; k < model.filters.size(); ++k)
      better = exchange_shape(model, k, points) || better;
    if (!better) return;
  }
}

// How much a parameter more must improve the fit. Neighbouring points share their noise, so that a
// tenth of them counts.
constexpr double worth_a_parameter = 40.0;

double cost(const Model& model) {
  return model.misfit + worth_a_parameter * static_cast<double>(parameters_of(model).size());
}

Model explained(const std::vector<Point>& points) {
  Model model;
  model = fitted(std::move(model), points, 3);
  constexpr std::array<FilterKind, 5> kinds{FilterKind::high_pass, FilterKind::low_pass,
                                            FilterKind::peaking, FilterKind::low_shelf,
                                            FilterKind::high_shelf};
  while (model.filters.size() < kinds.size()) {
    Model best = model;
    for (const FilterKind kind : kinds) {
      if (has(model, kind)) continue;
      Model trial = with_best(model, kind, points);
      exchange_shapes(trial, points);
      if (cost(trial) < cost(best)) best = std::move(trial);
    }
    if (best.filters.size() == model.filters.size()) break;
    model = std::move(best);
  }
  return model;
}

// A filter that an earlier step needed and a later one made useless.
void drop_useless(Model& model, const std::vector<Point>& points) {
  for (std::size_t k = model.filters.size(); k-- > 0;) {
    Model without = model;
    without.filters.erase(without.filters.begin() + static_cast<std::ptrdiff_t>(k));
    without = fitted(std::move(without), points, 25);
    exchange_shapes(without, points);
    if (cost(without) <= cost(model)) model = std::move(without);
  }
}

// --- What is said ------------------------------------------------------------------------------

double effect_db(const Filter& f, const std::vector<Point>& points) {
  double most = 0.0;
  for (const Point& p : points)
    most = std::max(most, std::abs(10.0 * std::log10(std::norm(response(f, p.frequency)))));
  return most;
}

// A shelf at one end is one of the other sign at the other, at another level; it is described by
// the end it is nearer to.
void turn_shelves(Model& model) {
  constexpr Hertz middle{700.0};
  for (Filter& f : model.filters) {
    const bool low_for_high = f.kind == FilterKind::low_shelf && f.frequency > middle;
    const bool high_for_low = f.kind == FilterKind::high_shelf && f.frequency < middle;
    if (!low_for_high && !high_for_low) continue;
    model.level_db += f.gain.value();
    f.gain = -f.gain;
    f.kind = low_for_high ? FilterKind::high_shelf : FilterKind::low_shelf;
  }
}

void sort_filters(ResponseFindings& findings, const Model& model,
                  const std::vector<Point>& points) {
  constexpr double least_effect_db = 0.5;
  constexpr Hertz highest_coupling{12.0};
  for (const Filter& f : model.filters) {
    const bool capacitor =
        f.kind == FilterKind::high_pass && f.order == 1 && f.frequency < highest_coupling;
    if (capacitor) {
      findings.coupling.push_back(f);
    } else if (effect_db(f, points) >= least_effect_db) {
      findings.filters.push_back(f);
    }
  }
  std::stable_sort(findings.filters.begin(), findings.filters.end(),
                   [&](const Filter& a, const Filter& b) {
                     return effect_db(a, points) > effect_db(b, points);
                   });
}

// Where the line between two neighbours crosses `level_db`, in the logarithm of frequency.
Hertz crossing(const ResponsePoint& a, const ResponsePoint& b, double level_db) {
  const double share = (level_db - a.magnitude.value()) / (b.magnitude - a.magnitude).value();
  return Hertz(a.frequency.value() * std::pow(b.frequency / a.frequency, share));
}

// From the middle of the pass band outwards.
void add_corners(ResponseFindings& findings, const std::vector<ResponsePoint>& points) {
  const double corner_db = findings.level.value() - 3.0;
  const auto within = [&](const ResponsePoint& p) { return p.magnitude.value() >= corner_db; };
  const auto first = std::find_if(points.begin(), points.end(), within);
  const auto last = std::find_if(points.rbegin(), points.rend(), within);
  if (first == points.end()) return;
  if (first != points.begin()) findings.low_3db = crossing(*(first - 1), *first, corner_db);
  if (last != points.rbegin()) findings.high_3db = crossing(*last, *(last - 1), corner_db);
  findings.highest = findings.lowest = first->magnitude - findings.level;
  for (auto p = first; p != last.base(); ++p) {
    findings.highest = std::max(findings.highest, p->magnitude - findings.level);
    findings.lowest = std::min(findings.lowest, p->magnitude - findings.level);
  }
}

void add_misfit(ResponseFindings& findings, const Model& model, const std::vector<Point>& points) {
  for (const Point& p : points) {
    const double beyond_noise = 3.0 / std::sqrt(p.weight);
    const double residual = std::abs(p.db - model_db(model, p.frequency));
    if (residual < beyond_noise || residual <= findings.misfit.value()) continue;
    findings.misfit = Decibels(residual);
    findings.misfit_at = p.frequency;
  }
}

std::vector<Point> weighted(const std::vector<ResponsePoint>& points) {
  double highest = -1e300;
  for (const ResponsePoint& p : points) highest = std::max(highest, p.magnitude.value());
  std::vector<Point> list;
  for (const ResponsePoint& p : points) {
    if (p.magnitude.value() < highest - deepest_db) continue;
    const double u = p.uncertainty.value();
    list.push_back({p.frequency, p.magnitude.value(),
                    1.0 / (u * u + model_uncertainty_db * model_uncertainty_db)});
  }
  return list;
}

}  // namespace

std::optional<ResponseFindings> recognise_filters(const std::vector<ResponsePoint>& points,
                                                  std::size_t least_points) {
  const std::vector<Point> list = weighted(points);
  if (list.size() < least_points) return std::nullopt;
  Model model = explained(list);
  drop_useless(model, list);
  turn_shelves(model);
  ResponseFindings findings;
  findings.level = Decibels(model.level_db);
  sort_filters(findings, model, list);
  add_misfit(findings, model, list);
  add_corners(findings, points);
  return findings;
}

// Responses of analog filter prototypes, and their names.

namespace {

using Complex = std::complex<double>;
using std::numbers::pi;

constexpr Hertz highest_bass{160.0};

// Butterworth of order 1 … 4 with its corner at 1, as low-pass; a high-pass is that of 1/s.
Complex butterworth(Complex s, int order) {
  Complex product = order % 2 == 1 ? s + 1.0 : Complex(1.0);
  for (int k = 0; k < order / 2; ++k) {
    const double damping = 2.0 * std::sin(pi * (2.0 * k + 1.0) / (2.0 * order));
    product *= s * s + damping * s + 1.0;
  }
  return 1.0 / product;
}

Complex pass(Complex s, FilterFamily family, int order) {
  if (family != FilterFamily::linkwitz_riley) return butterworth(s, order);
  const Complex half = butterworth(s, order / 2);
  return half * half;
}

Complex peaking(Complex s, double gain_db, double q) {
  const double a = std::pow(10.0, gain_db / 40.0);
  return (s * s + s * (a / q) + 1.0) / (s * s + s / (a * q) + 1.0);
}

Complex low_shelf(Complex s, double gain_db, int order) {
  if (order == 1) {
    const double g = std::pow(10.0, gain_db / 20.0);
    return (s + g) / (s + 1.0);
  }
  const double a = std::pow(10.0, gain_db / 40.0);
  const double side = std::sqrt(2.0 * a);  // √A/Q with Q = 1/√2
  return a * (s * s + side * s + a) / (a * s * s + side * s + 1.0);
}

std::string slope_words(const Filter& f) {
  constexpr int decibels_per_order = 6;
  return std::to_string(decibels_per_order * f.order) + " dB/octave" +
         (f.family == FilterFamily::linkwitz_riley ? " (Linkwitz-Riley)" : "");
}

std::string about(Hertz frequency) {
  return "about " + format_quantity(frequency, 2);
}

std::string up_or_down(Decibels gain) {
  return (gain.value() > 0.0 ? "turned up by " : "turned down by ") +
         sentence("%.1f dB", std::abs(gain.value()));
}

bool is_boosted_shelf(const Filter& f, FilterKind kind) {
  return f.kind == kind && f.gain.value() > 0.0;
}

}  // namespace

Complex response(const Filter& f, Hertz frequency) {
  const Complex s(0.0, frequency / f.frequency);
  switch (f.kind) {
    case FilterKind::high_pass:
      return pass(1.0 / s, f.family, f.order);
    case FilterKind::low_pass:
      return pass(s, f.family, f.order);
    case FilterKind::peaking:
      return peaking(s, f.gain.value(), f.q);
    case FilterKind::low_shelf:
      return low_shelf(s, f.gain.value(), f.order);
    case FilterKind::high_shelf:
      return low_shelf(1.0 / s, f.gain.value(), f.order);
  }
  return 1.0;
}

double phase_turn(const std::vector<Filter>& filters, Hertz frequency) {
  double sum = 0.0;
  for (const Filter& f : filters) sum += std::arg(response(f, frequency));
  return sum;
}

std::string in_words(const Filter& f) {
  switch (f.kind) {
    case FilterKind::high_pass:
      return "high-pass on at " + about(f.frequency) + ", " + slope_words(f);
    case FilterKind::low_pass:
      return "low-pass on at " + about(f.frequency) + ", " + slope_words(f);
    case FilterKind::peaking: {
      const bool bass = f.frequency < highest_bass;
      const std::string what = f.gain.value() > 0.0 ? (bass ? "bass boost" : "boost") : "cut";
      return what + " of " + sentence("%+.1f dB", f.gain.value()) + " at " +
             format_quantity(f.frequency, 2) + sentence(", Q %.1f", f.q);
    }
    case FilterKind::low_shelf:
      return "bass " + up_or_down(f.gain) + " below " + about(f.frequency);
    case FilterKind::high_shelf:
      return (f.gain.value() < 0.0 ? "treble cut: " : "") + std::string("treble ") +
             up_or_down(f.gain) + " above " + about(f.frequency);
  }
  return "";
}

std::vector<std::string> in_words(const std::vector<Filter>& filters) {
  const auto find = [&](FilterKind kind) {
    return std::find_if(filters.begin(), filters.end(),
                        [&](const Filter& f) { return is_boosted_shelf(f, kind); });
  };
  const auto bass = find(FilterKind::low_shelf), treble = find(FilterKind::high_shelf);
  const bool loudness = bass != filters.end() && treble != filters.end();
  std::vector<std::string> words;
  if (loudness) {
    words.push_back(sentence("loudness on: bass %+.1f dB, treble %+.1f dB", bass->gain.value(),
                             treble->gain.value()));
  }
  for (auto f = filters.begin(); f != filters.end(); ++f) {
    if (loudness && (f == bass || f == treble)) continue;
    words.push_back(in_words(*f));
  }
  return words;
}

const char* name(FilterKind kind) {
  switch (kind) {
    case FilterKind::high_pass:
      return "high-pass";
    case FilterKind::low_pass:
      return "low-pass";
    case FilterKind::peaking:
      return "peaking";
    case FilterKind::low_shelf:
      return "low-shelf";
    case FilterKind::high_shelf:
      return "high-shelf";
  }
  return "";
}

const char* name(FilterFamily family) {
  switch (family) {
    case FilterFamily::none:
      return "none";
    case FilterFamily::butterworth:
      return "butterworth";
    case FilterFamily::linkwitz_riley:
      return "linkwitz-riley";
  }
  return "none";
}

}  // namespace railtap::judge
