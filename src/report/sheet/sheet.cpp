// SPDX-License-Identifier: MIT
// The setup sheet: its parts in order, and its style.
#include "report/sheet/sheet.hpp"

#include "report/sheet/parts.hpp"
#include "report/svg/plot.hpp"
#include "report/words.hpp"

namespace railtap::report {

// The setup sheet's CSS, for windows of any width and for paper.

// The lower margin lets a page that is laid out for A4 (297 mm) be printed on Letter (279.4 mm)
// unscaled: 297 - 24 = 273 mm of it are used [ISO 216; ANSI/ASME Y14.1].
const std::string& sheet_style() {
  static const std::string css = R"(
@page { size: A4; margin: 12mm 13mm 24mm }
* { box-sizing: border-box }
html { background: var(--paper); color: var(--ink) }
body { font: 16px/1.45 "Gill Sans", "Gill Sans MT", Calibri, "DejaVu Sans", sans-serif;
  max-width: 70rem; margin: 0 auto; padding: 1.2rem 1rem 3rem; background: var(--paper) }
h1, h2, h3, .kind { font-family: "Iowan Old Style", "Palatino Linotype", Palatino, Georgia, serif;
  font-weight: 400; margin: 0; overflow-wrap: anywhere }
h1 { font-size: 2.1rem; line-height: 1.15 }
h2 { font-size: 1.35rem; font-style: italic }
h3 { font-size: 1rem; font-style: italic }
p, ul, ol, dl, figure { margin: .4rem 0 }
bdi, code { overflow-wrap: anywhere }
code span { white-space: nowrap }
code { font: .88em/1.4 "DejaVu Sans Mono", Consolas, monospace }
data, time { font-variant-numeric: tabular-nums; white-space: nowrap }
a { color: inherit; text-decoration-color: var(--quiet); text-underline-offset: .2em }
header { display: flex; flex-wrap: wrap; gap: 1rem 2rem; justify-content: space-between;
  align-items: flex-end; border-bottom: 6px double var(--ink); padding-bottom: .9rem }
header > div { flex: 1 1 18rem; min-width: 0 }
.kind { font-style: italic; color: var(--quiet) }
.when, .small, .was, figcaption, .label { color: var(--quiet); font-size: .88rem }
.limit { border: 2px solid var(--ink); padding: .5rem 1rem; margin: 0; text-align: center }
.limit .label { display: block }
.limit b { font: 400 2.6rem/1 "Iowan Old Style", "Palatino Linotype", Palatino, Georgia, serif }
.limit b.unknown { font-size: 1.3rem }
.rehearsal { border: 4px double var(--stop); color: var(--stop); padding: .3rem .8rem; margin: 0 0 .8rem }
.rehearsal b { letter-spacing: .25em }
.rehearsal-across { display: none }
.blank { display: inline-block; min-width: 4.5rem; border-bottom: 1px solid var(--ink) }
.whose { display: grid; grid-template-columns: repeat(auto-fit, minmax(11rem, 1fr)); gap: 0 1.6rem }
.whose p { display: flex; gap: .7rem; border-bottom: 1px dotted var(--rule); min-width: 0; margin: 0;
  padding: .2rem 0; align-items: baseline }
.whose p > span + span { flex: 1; min-width: 0; overflow-wrap: anywhere }
.whose .blank { border: 0 }
.owner > section, .two > section { border-top: 0; margin-top: .5rem; padding: .3rem 0 0 }
.owner > .stop { border: 3px solid var(--stop); padding: .5rem 1.1rem; margin-top: .8rem }
.owner .stop ul { margin: .2rem 0 }
.two { display: grid; grid-template-columns: repeat(auto-fit, minmax(min(18rem, 100%), 1fr)); gap: 0 2rem }
.two li { overflow-wrap: anywhere }
.came-to th, .came-to td { padding: .3rem .7rem .3rem 0 }
.came-to td:last-child { min-width: 4.7rem; padding-right: 0 }
.sign { display: flex; flex-wrap: wrap; gap: 0 2.4rem; margin-top: 2.2rem }
.sign p { flex: 1 1 14rem; color: var(--quiet); font-size: .88rem }
.sign .blank { display: block; margin-bottom: .2rem }
.labels { border-top: 6px double var(--ink) }
.tags { display: grid; grid-template-columns: repeat(auto-fill, minmax(11.5rem, 1fr)); gap: .6rem }
.tag { border: 1px dashed var(--ink); padding: .5rem .8rem; break-inside: avoid; min-width: 0 }
.tag p { margin: .1rem 0; overflow-wrap: anywhere }
.tag b { font-size: 1.15rem }
.tag .big { font: 400 2rem/1 "Iowan Old Style", "Palatino Linotype", Palatino, Georgia, serif }
section { border-top: 1px solid var(--rule); padding: 1rem 0 .6rem; margin-top: 1rem }
.unknown { color: var(--quiet); font-style: italic }
.chain { max-width: 38rem }
.chain svg, .plot { display: block; width: 100%; height: auto }
.box { fill: var(--panel); stroke: var(--ink); stroke-width: 1.2 }
.wire { fill: none; stroke: var(--ink); stroke-width: 1.2 }
.joint { fill: var(--ink) }
table { border-collapse: collapse; width: 100%; font-size: .94rem }
th, td { text-align: left; padding: .45rem .7rem .45rem 0; vertical-align: middle }
td .unknown { font-size: .88rem; white-space: nowrap }
thead th { font-weight: 400; font-style: italic; color: var(--quiet); border-bottom: 1px solid var(--ink) }
tbody th { font-weight: 600; overflow-wrap: anywhere }
tbody tr { border-bottom: 1px solid var(--rule); break-inside: avoid }
.gauge { display: block; width: 10rem; max-width: 100%; height: 1.7rem }
.gauge .target { stroke: var(--ink); stroke-width: 2 }
.gauge .whisker { stroke: var(--one); stroke-width: 1.5 }
.verdict { border-bottom: 2px solid; padding-bottom: 1px }
.verdict.good { color: var(--good) }
.verdict.bad { color: var(--stop); font-weight: 600; border-bottom-style: double; border-bottom-width: 4px }
.was { display: block }
.channel { display: grid; grid-template-columns: 19rem minmax(0, 1fr); column-gap: 2rem;
  border-top: 3px solid var(--ink) }
.channel > h2, .channel > .full { grid-column: 1 / -1 }
.rail, .evidence { min-width: 0 }
dl { display: grid; grid-template-columns: auto 1fr; font-size: .94rem }
dt, dd { margin: 0; padding: .12rem 0; border-bottom: 1px dotted var(--rule); min-width: 0 }
dt { color: var(--quiet) }
dd { text-align: right; padding-left: 1rem }
dl.wide { max-width: 38rem; break-inside: avoid }
.notes { background: var(--panel); padding: .6rem .9rem; margin: .8rem 0 }
ul, ol { padding-left: 1.2rem }
.reasons { padding-left: 1.2rem }
.pictures { display: grid; grid-template-columns: repeat(auto-fill, minmax(min(19rem, 100%), 1fr));
  gap: 1rem 1.6rem; align-content: start }
figure { break-inside: avoid; min-width: 0 }
.tones table { font-size: .82rem }
.tones th, .tones td { padding: .1rem .5rem .1rem 0 }
.compared { grid-template-columns: minmax(0, 1fr) }
.beside { display: grid; grid-template-columns: minmax(0, 1fr) minmax(0, 1fr); gap: 0 1.4rem; break-inside: avoid }
.missing { border-top: 1px dotted var(--rule); padding-top: .4rem; font-size: .88rem }
.stop { border: 3px solid var(--stop); padding: .8rem 1.2rem }
.stop h2 { color: var(--stop) }
.commands { list-style: none; padding: 0 }
.commands li { border-top: 1px dotted var(--rule); padding: .25rem 0 }
@media screen and (max-width: 60rem) {
  .channel { grid-template-columns: 1fr }
  td .unknown { white-space: normal }
  .every td { min-width: 0 }
  .every thead { position: absolute; width: 1px; height: 1px; overflow: hidden; clip-path: inset(50%) }
  .every, .every tbody, .every tr, .every th, .every td { display: block }
  .every tr { display: grid; grid-template-columns: 1fr 1fr; column-gap: 1.6rem; padding: .6rem 0 }
  .every th, .every .gauge-cell { grid-column: 1 / -1 }
  .every th, .every td { padding: .1rem 0 }
  .every td:empty { display: none }
  .every td { display: flex; justify-content: space-between; gap: .6rem; text-align: right }
  .every td::before { content: attr(data-label); color: var(--quiet); font-style: italic }
  .every .gauge-cell::before { content: none }
  .every .gauge-cell { justify-content: flex-start }
  .every .gauge { width: 12rem; height: auto }
}
@media screen and (max-width: 30rem) {
  .beside { grid-template-columns: 1fr }
  .came-to th, .came-to td { padding-right: .4rem; font-size: .85rem }
}
@media print {
  html { font-size: 12px }
  body { font-size: 1rem; max-width: none; padding: 0 }
  h2 { break-after: avoid }
  section { margin-top: .6rem; padding-top: .5rem }
  .channel { display: block; break-inside: avoid }
  .channel dl { grid-template-columns: auto 1fr auto 1fr; break-inside: avoid }
  .channel dt:nth-of-type(even) { padding-left: 2rem }
  .notes, .reasons, .stop, .again li { break-inside: avoid }
  .notes { border: 1px solid var(--rule); margin: .3rem 0 }
  .pictures { display: block }
  .pictures figure { display: inline-block; width: 41%; margin: .3rem 1.2% 0; vertical-align: top }
  .pictures .tones { display: block; width: 97.6% }
  .tones table, .tones thead, .tones tr, .tones tbody { display: block }
  .tones h3 { line-height: 1.1 }
  .tones thead { width: calc(50% - 1rem) }
  .tones tbody { columns: 2; column-gap: 2rem }
  .tones tr { display: grid; grid-template-columns: repeat(5, 1fr); line-height: 1.35;
    break-inside: avoid }
  .tones th, .tones td { padding: 0 .4rem 0 0 }
  .commands li { padding: .08rem 0; line-height: 1.15 }
  .commands code { font-size: .8rem; line-height: 1.15 }
  .every { font-size: .95rem }
  .every th, .every td { padding: .25rem .5rem .25rem 0 }
  .gauge { width: 9rem }
  .owner { break-after: page }
  .owner h1 { font-size: 1.8rem }
  .owner ul { margin: .2rem 0 }
  .owner li { line-height: 1.3 }
  .came-to { font-size: 1.05rem }
  .came-to th, .came-to td { padding: .18rem .6rem .18rem 0 }
  .two { grid-template-columns: 1fr 1fr }
  .whose { grid-template-columns: 1fr 1fr }
  .tags { grid-template-columns: repeat(3, 1fr); gap: 3mm }
  .tag b { font-size: 1.25rem }
  .chain-part, .labels { break-inside: avoid }
  .pictures .beside { display: block }
  .pictures.compared figure { display: inline-block; width: 47% }
  .rehearsal-across { display: block; position: fixed; top: 38%; left: 0; right: 0; margin: 0;
    text-align: center; transform: rotate(-30deg); font-size: 7rem; letter-spacing: .1em; opacity: .13;
    pointer-events: none }
  a { text-decoration: none }
}
)";
  return css;
}

// Putting the setup sheet together: the owner's page, labels, then the evidence in the order of
// work.

// --- page ----------------------------------------------------------------------------------------

namespace {

constexpr std::size_t longest_page_title = 80;

std::string opening(const SheetContent& content) {
  const std::string name = content.record["name"].text();
  const std::string title = name.empty() ? "Setup sheet" : "Setup sheet: " + name;
  return "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n"
         "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n<title>" +
         escaped(shortened(title, longest_page_title)) + "</title>\n<style>" + svg::style() +
         sheet_style() + "</style>\n</head>\n<body>\n" + rehearsal_mark(content);
}

}  // namespace

std::string sheet_html(const system::Json& record, const system::Json& earlier) {
  SheetContent content{JsonView(record), JsonView(earlier, "#earlier"), {}, {}};
  content.rows = rows_of(content.record);
  content.earlier_rows = rows_of(content.earlier);
  std::string html = opening(content) + "<main>\n" + owner_part(content) + labels_part(content) +
                     rehearsal_part(content) + diagram_part(content) + calibration_part(content) +
                     summary_part(content) + comparison_part(content);
  for (std::size_t i = 0; i < content.rows.size(); ++i)
    html += channel_part(content.rows[i], i, same_row(content.earlier_rows, content.rows[i]));
  return html + remarks_part(content) + cautions_part() + repeat_part(content) +
         "</main>\n</body>\n</html>\n";
}

}  // namespace railtap::report
