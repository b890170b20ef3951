// SPDX-License-Identifier: MIT
// Colours and strokes of every picture; the contrasts are checked by tests/docs/contrast_check.py.
#include "report/svg/plot.hpp"

namespace railtap::report::svg {

// Blue, rust and green keep apart in every common kind of colour vision, the more so as each has a
// dash of its own. On paper all inks are black.
const std::string& style() {
  static const std::string css = R"(
:root { --paper: #fbfaf6; --ink: #1d1b18; --quiet: #5b564d; --rule: #c8c1b2;
  --one: #0a5c8f; --two: #a8440c; --three: #2b6e3f; --faint: #79736a; --shade: #0a5c8f;
  --stop: #9c1f16; --good: #2b6e3f; --panel: #f2efe6; color-scheme: light dark }
@media (prefers-color-scheme: dark) {
  :root { --paper: #171614; --ink: #eae6dc; --quiet: #b3ada0; --rule: #57524a;
    --one: #7cc0ee; --two: #f2a268; --three: #8fce9f; --faint: #8f897e; --shade: #7cc0ee;
    --stop: #ff9084; --good: #8fce9f; --panel: #211f1c }
}
@media print {
  :root { --paper: #fff; --ink: #000; --quiet: #333; --rule: #888;
    --one: #000; --two: #000; --three: #000; --faint: #777; --shade: #777;
    --stop: #000; --good: #000; --panel: #fff }
}
svg { font-family: "Gill Sans", "Gill Sans MT", Calibri, "DejaVu Sans", sans-serif }
svg text { fill: var(--ink) }
svg .title { font: italic 15px "Iowan Old Style", "Palatino Linotype", Palatino, Georgia, serif }
svg .word { font-size: 12px }
svg .number { font-size: 12px; font-variant-numeric: tabular-nums; fill: var(--quiet) }
svg .quiet { fill: var(--quiet) }
svg .paper { fill: var(--paper) }
svg .cross { fill: none; stroke: var(--rule); stroke-width: 1 }
svg .axis { stroke: var(--rule); stroke-width: 1 }
svg .curve { fill: none; stroke-width: 2; stroke-linejoin: round }
svg .mark { stroke-width: 1.5 }
svg .mark.one { stroke: var(--ink); stroke-width: 1 }
svg .band { fill: var(--shade); fill-opacity: .22; stroke: none }
svg .curve.one { stroke: var(--one) }
svg .curve.two, svg .mark.two { stroke: var(--two); stroke-dasharray: 7 4 }
svg .curve.three, svg .mark.three { stroke: var(--three); stroke-dasharray: 2 3 }
svg .curve.faint, svg .mark.faint { stroke: var(--faint); stroke-width: 1.2; stroke-dasharray: 9 3 2 3 }
svg .dot.one { fill: var(--one) }
svg .dot.two { fill: var(--two) }
svg .dot.three { fill: var(--three) }
svg .dot.faint { fill: var(--faint) }
)";
  return css;
}

}  // namespace railtap::report::svg
