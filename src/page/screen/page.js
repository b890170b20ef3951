// SPDX-License-Identifier: MIT
// The page: shows what the program sends, and sends back the keys that are pressed. It computes no figure.
"use strict";
(() => {
  const byId = (id) => document.getElementById(id);
  const looks = ["plain", "faint", "strong", "good", "caution", "alarm"];
  const arrows = {
    raise: "M10 2 L19 17 L1 17 Z", lower: "M10 18 L1 3 L19 3 Z", hold: "M3 3 H17 V17 H3 Z", none: "",
  };
  let state = null;

  // Texts go in as text only: what looks like markup is shown as it is.
  const put = (element, text) => { if (element.textContent !== text) element.textContent = text; };
  const look = (element, name) => {
    for (const other of looks) element.classList.toggle(other, other === name);
  };
  const sized = (list, count, make) => {
    while (list.children.length > count) list.lastElementChild.remove();
    while (list.children.length < count) list.append(make());
    return [...list.children];
  };
  const element = (name, parts = []) => () => {
    const made = document.createElement(name);
    made.dir = "auto";
    for (const part of parts) made.append(document.createElement(part));
    return made;
  };

  const showLines = (list, lines, tag) => {
    list.hidden = lines.length === 0;
    sized(list, lines.length, element(tag)).forEach((item, i) => {
      put(item, lines[i].text);
      look(item, lines[i].look);
    });
  };

  const showBar = (bar, data) => {
    bar.hidden = data === null;
    if (data === null) return;
    look(bar, data.look);
    bar.querySelector(".filled").style.transform = `scaleX(${Math.min(data.filled, 1000) / 1000})`;
    const mark = bar.querySelector(".mark");
    mark.hidden = data.mark === null;
    if (data.mark !== null) mark.style.left = `${data.mark / 10}%`;
  };

  const showRails = (list, rails) => {
    sized(list, rails.length, element("div", ["b", "span"])).forEach((rail, i) => {
      rail.className = "rail";
      rail.classList.toggle("lit", rails[i].lit);
      put(rail.firstElementChild, rails[i].name);
      put(rail.lastElementChild, rails[i].text);
      if (!rails[i].lit) look(rail.lastElementChild, rails[i].look);
      else look(rail.lastElementChild, "");
    });
  };

  const showWave = (svg, points, name) => {
    look(svg, name);
    const line = svg.querySelector("polyline");
    const text = [];
    for (let i = 0; i + 1 < points.length; i += 2) text.push(`${points[i]},${-points[i + 1]}`);
    line.setAttribute("points", text.join(" "));
  };

  // As large as the room allows: how wide a digit is depends on the browser's font.
  const fit = (article) => {
    const level = article.querySelector(".level");
    const key = `${level.textContent.length} ${level.clientWidth}`;
    if (level.dataset.fitted === key) return;
    const largest = innerWidth < 700 ? 112 : 160;
    level.style.setProperty("--digits", `${largest}px`);
    const room = level.clientWidth / level.scrollWidth;
    if (room < 1) level.style.setProperty("--digits", `${Math.floor(largest * room) - 1}px`);
    level.dataset.fitted = key;
  };

  const showMeter = (article, data) => {
    const part = (name) => article.querySelector("." + name);
    article.classList.toggle("focus", data.focus);
    put(part("name"), data.name);
    put(part("verdict"), data.verdict.text);
    look(part("verdict"), data.verdict.look);
    put(part("digits"), data.digits);
    look(part("digits"), data.verdict.look === "faint" ? "plain" : data.verdict.look);
    put(part("unit"), data.unit);
    fit(article);
    put(part("step"), data.advice.text);
    look(part("advice"), data.advice.look);
    part("arrow").firstElementChild.setAttribute("d", arrows[data.way] || "");
    part("arrow").toggleAttribute("hidden", data.way === "none");
    showBar(part("bar"), data.bar);
    showRails(part("rails"), data.rails);
    part("wave").toggleAttribute("hidden", data.rails.length === 0);
    showWave(part("wave"), data.wave, data.wave_look);
    showLines(part("notes"), data.notes, "li");
  };

  const newMeter = () => byId("meter").content.firstElementChild.cloneNode(true);

  const showButtons = (buttons) => {
    const make = () => {
      const button = document.createElement("button");
      button.type = "button";
      button.dir = "auto";
      button.addEventListener("click", () => send("press", button.dataset.key));
      return button;
    };
    // In rows of about the same length on a phone.
    byId("buttons").style.setProperty("--columns", Math.ceil(buttons.length / Math.ceil(buttons.length / 5)) || 1);
    sized(byId("buttons"), buttons.length, make).forEach((button, i) => {
      button.dataset.key = buttons[i].key;
      put(button, buttons[i].label);
      button.classList.toggle("main", buttons[i].main);
      if (buttons[i].down) button.setAttribute("aria-pressed", "true");
      else button.removeAttribute("aria-pressed");
    });
  };

  const showQuestion = (question) => {
    const form = byId("question");
    const input = byId("answer");
    const isNew = question !== null && (form.hidden || form.dataset.step !== String(state.step));
    if (isNew) scrollTo(0, 0);
    form.hidden = question === null;
    if (question === null) return;
    put(byId("asked"), question.text);
    if (!isNew) return;
    form.dataset.step = String(state.step);
    input.inputMode = question.figures ? "decimal" : "text";
    input.value = question.typed;
    if (question.at_once) input.focus();
  };

  // A long text is read to its end before the question under it is answered, as in a terminal.
  let readStep = null;
  const footerTop = () => document.querySelector("footer").getBoundingClientRect().top;
  const isUnread = () => {
    const text = byId("instructions");
    if (state === null || text.hidden || readStep === state.step) return false;
    if (text.getBoundingClientRect().bottom <= footerTop() + 1) readStep = state.step;
    return readStep !== state.step;
  };
  const nameEnter = () => put(byId("enter"), isUnread() ? "More" : "Enter");
  addEventListener("scroll", nameEnter, { passive: true });
  addEventListener("resize", nameEnter);

  const show = () => {
    put(byId("title"), state.title);
    put(byId("subtitle"), state.subtitle);
    showLines(byId("flags"), state.flags, "li");
    showLines(byId("instructions"), state.instructions, "p");
    sized(byId("meters"), state.meters.length, newMeter).forEach((article, i) => showMeter(article, state.meters[i]));
    showQuestion(state.question);
    put(byId("message"), state.message);
    showButtons(state.buttons);
    nameEnter();
  };

  const said = { 403: "the program was restarted: open its present address", 409: "that button is no longer there",
                 503: "too many presses at once" };
  const send = async (where, text) => {
    if (state === null) return;
    try {
      const answer = await fetch(where, { method: "POST", body: `${state.step} ${text}`, cache: "no-store",
                                          headers: { "Content-Type": "text/plain" }, referrerPolicy: "no-referrer" });
      if (!answer.ok) put(byId("message"), said[answer.status] || "the press was refused");
    } catch {
      put(byId("message"), "the press did not arrive");
    }
  };
  byId("question").addEventListener("submit", (event) => {
    event.preventDefault();
    if (isUnread()) {
      const lines = 2 * 25;  // of the part before stay in sight
      scrollBy(0, Math.max(footerTop() - lines, lines));
      return;
    }
    // The keys for figures have a comma in some languages.
    const typed = byId("answer").value;
    send("say", byId("answer").inputMode === "decimal" ? typed.replace(",", ".") : typed);
    byId("answer").blur();
  });

  // How old the figures are: since the last sign of life, and as old as it said they were then.
  const OLD_MS = 1000, DEAD_MS = 5000, LONGEST_WAIT_MS = 4000;
  let heard = performance.now(), tried = heard, ageThen = 0, source = null, wait = 500, again = 0;
  const hear = (age) => {
    heard = performance.now();
    ageThen = age;
    wait = 500;
  };
  const seconds = (ms) => `${Math.floor(ms / 1000)} s`;
  const watchAge = () => {
    const silent = performance.now() - heard;
    const lost = silent > OLD_MS;
    const still = state !== null && state.still;
    const age = ageThen + silent;
    const old = lost || (!still && state !== null && age > OLD_MS);
    const line = byId("link");
    line.hidden = !old;
    document.body.classList.toggle("old", old);
    if (old) put(line, lost ? `no connection: figures are ${seconds(age)} old, trying again`
                            : `figures are ${seconds(age)} old: nothing new is measured`);
    if (silent > DEAD_MS && performance.now() - tried > DEAD_MS) connect();
  };

  // The browser comes back by itself after a broken line; not after an answer that was no stream, nor where the
  // network went away without a word.
  const connect = () => {
    clearTimeout(again);
    tried = performance.now();
    if (source !== null) source.close();
    source = new EventSource("events");
    source.addEventListener("message", (event) => {
      state = JSON.parse(event.data);
      hear(0);
      show();
      watchAge();
    });
    source.addEventListener("age", (event) => {
      hear(Number(event.data));
      watchAge();
    });
    source.addEventListener("error", () => {
      if (source.readyState !== EventSource.CLOSED) return;
      again = setTimeout(look_again, wait);
      wait = Math.min(2 * wait, LONGEST_WAIT_MS);
    });
  };
  // On the computer itself the program, started anew, is still found under the short address.
  const look_again = async () => {
    const here = ["127.0.0.1", "localhost"].includes(location.hostname);
    try {
      const answer = await fetch("page.css", { cache: "no-store" });
      if (answer.status === 403 && here) return location.replace("/");
      if (answer.status === 403) put(byId("message"), said[403]);
    } catch { /* not there yet */ }
    connect();
  };

  const light = byId("light");
  const isDark = () => {
    const chosen = document.documentElement.dataset.light;
    return chosen ? chosen === "dark" : matchMedia("(prefers-color-scheme: dark)").matches;
  };
  const nameLight = () => put(light, isDark() ? "bright" : "dark");
  const keep = (name) => { try { localStorage.setItem("light", name); } catch { /* kept for this page only */ } };
  try {
    const kept = localStorage.getItem("light");
    if (kept) document.documentElement.dataset.light = kept;
  } catch { /* nothing kept */ }
  light.addEventListener("click", () => {
    document.documentElement.dataset.light = isDark() ? "bright" : "dark";
    keep(document.documentElement.dataset.light);
    nameLight();
  });
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", nameLight);

  nameLight();
  setInterval(watchAge, 200);
  connect();
})();
