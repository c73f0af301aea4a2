// Shows what was computed beforehand: a vote, its answer, controls, a picture. Computes no result.

const data = JSON.parse(document.getElementById("data").textContent);
const at = (id) => document.getElementById(id);
const SVG = "http://www.w3.org/2000/svg";
const INK = "#222222", SOFT = "#595959";
const state = { chosen: data.controls.map((c) => c.start), draw: 0, mine: null, open: false };
const hands = data.predictions.map(() => 0);

function element(tag, parent, text = "", attributes = {}) {
  const made = document.createElement(tag);
  made.textContent = text;
  for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, value);
  parent.append(made);
  return made;
}

// A case is the first one with some of its parts replaced.
function patched(base, change) {
  if ("=" in change) return change["="];
  const keys = Object.keys(change);
  if (!keys.length) return base;
  const made = Array.isArray(base) ? [...base] : { ...base };
  for (const key of keys) made[key] = patched(base[key], change[key]);
  return made;
}

function number() {
  const place = data.controls.reduce((sum, c, i) => sum * c.values.length + state.chosen[i], 0);
  return place * data.draws + state.draw;
}

const current = () => patched(data.base, data.cases[number()]);

// Vote --------------------------------------------------------------------------------------------

function votes() {
  return data.predictions.map((_, i) => hands[i] + (state.mine === i ? 1 : 0));
}

function step(parent, sign, label, change) {
  const button = element("button", parent, sign, { type: "button", "aria-label": label });
  button.addEventListener("click", change);
}

function predictions() {
  const root = at("predictions");
  root.replaceChildren();
  data.predictions.forEach((text, i) => {
    const row = element("div", root, "", { class: "prediction" });
    const mine = element("button", row, text, { type: "button", "aria-pressed": "false" });
    mine.addEventListener("click", () => { state.mine = state.mine === i ? null : i; voted(); });
    const count = element("span", row, "", { class: "hands" });
    const take = (value) => { hands[i] = Math.min(999, Math.max(0, Math.round(value) || 0)); voted(); };
    step(count, "−", `one hand less for ${text}`, () => take(hands[i] - 1));
    const field = element("input", count, "", {
      type: "number", min: 0, max: 999, inputmode: "numeric", "aria-label": `hands for ${text}`,
    });
    field.addEventListener("input", () => take(Number(field.value)));
    step(count, "+", `one hand more for ${text}`, () => take(hands[i] + 1));
  });
  voted();
}

function voted() {
  document.querySelectorAll(".prediction").forEach((row, i) => {
    row.firstChild.setAttribute("aria-pressed", String(state.mine === i));
    const field = row.querySelector("input");
    if (Number(field.value) !== hands[i] || field.value === "") field.value = hands[i];
  });
  at("reveal").disabled = votes().every((count) => count === 0);
}

function reveal() {
  state.open = true;
  document.body.classList.add("answered");
  at("vote").hidden = true;
  at("shown").hidden = false;
  paint();
  at("controls").querySelector("input, button").focus({ preventScroll: true });
  window.scrollTo(0, 0);
}

function askAgain() {
  hands.fill(0);
  Object.assign(state, { mine: null, open: false, draw: 0 });
  state.chosen = data.controls.map((c) => c.start);
  document.body.classList.remove("answered");
  at("vote").hidden = false;
  at("shown").hidden = true;
  at("question").textContent = current().question;
  settle();
  predictions();
  at("predictions").querySelector("button").focus();
}

// Controls ----------------------------------------------------------------------------------------

function controls() {
  const form = at("controls");
  form.addEventListener("submit", (event) => event.preventDefault());
  data.controls.forEach((control, i) => {
    const set = (value) => { state.chosen[i] = value; settle(); paint(); };
    (control.kind === "range" ? slider : choice)(form, control, set);
  });
  const acts = element("div", form, "", { class: "acts" });
  const act = (text, does) =>
    element("button", acts, text, { type: "button" }).addEventListener("click", does);
  if (data.controls.some((c) => c.null !== null)) {
    act("Nothing going on", () => {
      data.controls.forEach((c, i) => { if (c.null !== null) state.chosen[i] = c.null; });
      settle();
      paint();
    });
  }
  if (data.draws > 1) {
    act("New people", () => { state.draw = (state.draw + 1) % data.draws; paint(); });
  }
  act("Ask again", askAgain);
  settle();
}

function slider(form, control, set) {
  const box = element("fieldset", form, "", { "data-name": control.name });
  const label = element("label", box, `${control.label}: `, { class: "label" });
  element("output", label);
  const input = element("input", box, "", {
    type: "range", min: 0, max: control.values.length - 1, step: 1, "aria-label": control.label,
  });
  input.addEventListener("input", () => set(Number(input.value)));
}

function choice(form, control, set) {
  const box = element("fieldset", form, "", { "data-name": control.name });
  element("legend", box, control.label);
  const row = element("div", box, "", { class: "choices" });
  control.values.forEach((value, k) => {
    const button = element("button", row, value, { type: "button" });
    button.addEventListener("click", () => set(k));
  });
}

function settle() {
  data.controls.forEach((control, i) => {
    const box = at("controls").querySelector(`[data-name="${control.name}"]`);
    const k = state.chosen[i], value = control.values[k];
    const input = box.querySelector("input");
    if (input) {
      input.value = k;
      input.setAttribute("aria-valuetext", value);
      box.querySelector("output").textContent = value;
    }
    box.querySelectorAll(".choices button").forEach((button, n) => {
      button.setAttribute("aria-pressed", String(n === k));
    });
  });
}

// Answer ------------------------------------------------------------------------------------------

function paint() {
  if (!state.open) return;
  const now = current();
  at("question").textContent = now.question;
  say(now);
  at("conclusion").textContent = now.conclusion;
  at("words").textContent = now.words;
  at("caption").textContent = now.scene.caption;
  draw(now);
}

function say(now) {
  const answer = data.predictions[now.answer], verdict = at("verdict");
  const truth = `With these settings: ${answer}.`;
  verdict.className = "";
  if (state.mine === null) verdict.textContent = truth;
  else {
    const right = state.mine === now.answer;
    verdict.className = right ? "right" : "wrong";
    const said = data.predictions[state.mine];
    verdict.textContent = `You said: ${said}. ${right ? "Right." : "Not so."} ${truth}`;
  }
  const counts = votes(), all = counts.reduce((a, b) => a + b, 0);
  at("tally").hidden = all < 2;
  const parts = data.predictions.map((p, i) => `${p} ${counts[i]}${i === now.answer ? " ✓" : ""}`);
  at("tally").textContent = `${counts[now.answer]} of ${all} were right: ${parts.join(" · ")}`;
}

function foot() {
  at("message").textContent = data.message;
  element("strong", at("contested"), "What is contested: ");
  at("contested").append(data.contested);
  const how = { abstract: "abstract read", page: "parts read", "from memory": "from memory" };
  for (const [text, doi, read] of data.sources) {
    element("li", at("sources"), `${text}${doi ? ` https://doi.org/${doi}` : ""} (${how[read]})`);
  }
}

// Picture -----------------------------------------------------------------------------------------

function shape(parent, tag, attributes, text = "") {
  const made = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, value);
  if (text) made.textContent = text;
  parent.append(made);
  return made;
}

// Lines of text from `y` downwards.
function words(parent, text, x, y, attributes = {}, gap = 17) {
  text.split("\n").forEach((line, i) => shape(parent, "text", { x, y: y + i * gap, ...attributes }, line));
}

function draw(now) {
  const root = at("picture"), width = root.clientWidth;
  if (!width) return;
  const stacked = window.innerWidth <= 760, panels = now.scene.panels;
  const big = window.innerWidth >= 1100;
  const key = names(panels);
  const top = key.length ? 30 * keyRows(key, width, big) : 4;
  const heights = panels.map((p) => p.rows.length ? 52 + 34 * p.rows.length + (p.title ? 18 : 0) : 175);
  const room = Math.max(300, Math.min(560, window.innerHeight - root.getBoundingClientRect().top - window.scrollY - 190));
  const height = stacked ? top + heights.reduce((a, b) => a + b, 0) : room;
  const svg = document.createElementNS(SVG, "svg");
  svg.setAttribute("viewBox", `0 0 ${width} ${height}`);
  svg.setAttribute("height", height);
  svg.setAttribute("role", "img");
  svg.setAttribute("aria-label", now.words);
  drawKey(svg, key, width, big);
  const all = panels.reduce((sum, p) => sum + p.weight, 0);
  let x = 0, y = top;
  panels.forEach((panel, i) => {
    const wide = stacked ? width : width * panel.weight / all;
    const high = stacked ? heights[i] : height - top;
    const inner = { big, edge: x + wide, left: x + (panel.rows.length ? 12 : 62), right: x + wide - 12,
                    top: y + (panel.title ? 26 : 10), bottom: y + high - (big ? 46 : 36) - 15 * tickLines(panel) };
    drawPanel(svg, panel, inner, i);
    if (stacked) y += high; else x += wide;
  });
  root.replaceChildren(svg);
}

const tickLines = (panel) => Math.max(1, ...panel.ticks.map(([, label]) => label.split("\n").length));

const look = (k) => data.looks[String(k)];

function names(panels) {
  const seen = new Map();
  for (const panel of panels) for (const m of panel.marks) if (m.name && !seen.has(m.name)) seen.set(m.name, m);
  return [...seen.values()];
}

const keyWidth = (m, big) => 56 + m.name.length * (big ? 10 : 8);

function keyRows(key, width, big) {
  let rows = 1, x = 0;
  for (const m of key) {
    if (x && x + keyWidth(m, big) > width) { rows += 1; x = 0; }
    x += keyWidth(m, big);
  }
  return rows;
}

function drawKey(svg, key, width, big) {
  let x = 4, y = 17;
  for (const m of key) {
    if (x > 4 && x + keyWidth(m, big) > width) { x = 4; y += 28; }
    const [colour] = look(m.look);
    if (["line", "pairs"].includes(m.kind)) stroke(svg, [[x, y - 5], [x + 30, y - 5]], m.look, 3);
    marker(svg, x + 15, y - 5, m.look, m.kind === "dots" ? 4 : 6, colour);
    shape(svg, "text", { x: x + 38, y }, m.name);
    x += keyWidth(m, big);
  }
}

function dashes(k) {
  const line = look(k)[2];
  return Array.isArray(line) && line[1].length ? line[1].map((v) => v * 3).join(" ") : "none";
}

function stroke(parent, points, k, width, opacity = 1) {
  return shape(parent, "polyline", {
    points: points.map((p) => p.map((v) => v.toFixed(1)).join(",")).join(" "), fill: "none",
    stroke: look(k)[0], "stroke-width": width, "stroke-dasharray": dashes(k), opacity,
  });
}

function marker(parent, x, y, k, size, colour, opacity = 1) {
  const kind = look(k)[1], paint = { fill: colour, opacity, stroke: "#ffffff", "stroke-width": 0.8 };
  if (kind === "s") {
    shape(parent, "rect", { x: x - size, y: y - size, width: 2 * size, height: 2 * size, ...paint });
  } else if (kind === "o") {
    shape(parent, "circle", { cx: x, cy: y, r: size, ...paint });
  } else {
    const tip = 1.25 * size;
    const corners = kind === "^" ? [[0, -tip], [tip, tip], [-tip, tip]]
      : [[0, -tip], [tip, 0], [0, tip], [-tip, 0]];
    shape(parent, "polygon", { points: corners.map(([a, b]) => `${x + a},${y + b}`).join(" "), ...paint });
  }
}

function scale([low, high], from, to) {
  return (value) => from + (value - low) / (high - low) * (to - from);
}

function steps([low, high], most) {
  const rough = (high - low) / most, power = 10 ** Math.floor(Math.log10(rough));
  const step = [1, 2, 5, 10].map((f) => f * power).find((s) => s >= rough);
  const ticks = [];
  for (let k = Math.ceil(low / step - 1e-9); k * step <= high + 1e-9; k += 1) ticks.push(+(k * step).toFixed(10));
  return ticks;
}

const written = (value) => String(value).replace("-", "−");

// Two significant figures, as the notebook writes them.
function short(value) {
  const places = value ? Math.max(0, 1 - Math.floor(Math.log10(Math.abs(value)))) : 0;
  return written(value.toFixed(places));
}

function drawPanel(svg, panel, box, place) {
  const clip = shape(shape(svg, "clipPath", { id: `clip-${place}` }), "rect", {
    x: box.left - 7, y: box.top - 7, width: Math.max(1, box.right - box.left + 14),
    height: Math.max(1, box.bottom - box.top + 14),
  });
  clip.parentNode.setAttribute("clipPathUnits", "userSpaceOnUse");
  const ink = shape(svg, "g", {}), marks = shape(svg, "g", { "clip-path": `url(#clip-${place})` });
  const x = scale(panel.x, box.left, box.right), y = scale(panel.y, box.bottom, box.top);
  if (panel.title) shape(ink, "text", { x: box.left, y: box.top - 9, class: "title" }, panel.title);
  axis(ink, panel, box, x);
  if (panel.rows.length) { rows(ink, marks, panel, box, x); return; }
  for (const value of steps(panel.y, (box.bottom - box.top) / 45)) {
    shape(ink, "line", { x1: box.left - 5, x2: box.left, y1: y(value), y2: y(value), stroke: SOFT });
    shape(ink, "text", { x: box.left - 9, y: y(value) + 5, "text-anchor": "end", class: "soft" }, written(value));
  }
  shape(ink, "line", { x1: box.left, x2: box.left, y1: box.top, y2: box.bottom, stroke: SOFT });
  const middle = (box.top + box.bottom) / 2, side = box.left - 46;
  const name = shape(ink, "text", { x: side, y: middle, "text-anchor": "middle", transform: `rotate(-90 ${side} ${middle})` }, panel.yLabel);
  const needed = panel.yLabel.length * (box.big ? 9.5 : 7.4), room = box.bottom - box.top + 30;
  if (needed > room) { name.setAttribute("textLength", room); name.setAttribute("lengthAdjust", "spacingAndGlyphs"); }
  for (const rule of panel.rules) {
    shape(ink, "line", { x1: box.left, x2: box.right, y1: y(rule), y2: y(rule), stroke: SOFT,
                         "stroke-width": 1.5, "stroke-dasharray": "6 4" });
  }
  for (const m of panel.marks) DRAW[m.kind](marks, m, x, y);
}

function axis(ink, panel, box, x) {
  const y = box.bottom;
  shape(ink, "line", { x1: box.left, x2: box.right, y1: y, y2: y, stroke: SOFT });
  const ticks = panel.ticks.length ? panel.ticks
    : steps(panel.x, (box.right - box.left) / 70).map((value) => [value, written(value)]);
  for (const [value, label] of ticks) {
    shape(ink, "line", { x1: x(value), x2: x(value), y1: y, y2: y + 5, stroke: SOFT });
    const half = 4 * Math.max(...label.split("\n").map((line) => line.length));
    words(ink, label, Math.min(x(value), box.edge - half), y + 20, { "text-anchor": "middle", class: "soft" }, 15);
  }
  const lines = Math.max(...ticks.map(([, label]) => label.split("\n").length));
  const centre = (box.left + box.right) / 2;
  words(ink, panel.xLabel.replace("\n", " "), centre, y + 24 + 15 * lines, { "text-anchor": "middle" });
}

function rows(ink, marks, panel, box, x) {
  const gap = (box.bottom - box.top) / panel.rows.length;
  for (const rule of panel.rules) {
    shape(ink, "line", { x1: x(rule), x2: x(rule), y1: box.top, y2: box.bottom, stroke: SOFT, "stroke-width": 1.5 });
  }
  panel.rows.forEach(([label, estimate, low, high], i) => {
    const y = box.top + gap * (i + 0.72);
    const text = `${label}: ${short(estimate)}`;
    const size = box.big ? 8.7 : 7;
    shape(ink, "rect", { x: box.left, y: y - 26, width: Math.min(text.length * size, box.right - box.left), height: 19, fill: "#ffffff" });
    const line = shape(ink, "text", { x: box.left, y: y - 12 }, text);
    const wide = line.getComputedTextLength ? text.length * size : 0;
    if (wide > box.right - box.left) { line.setAttribute("textLength", box.right - box.left); line.setAttribute("lengthAdjust", "spacingAndGlyphs"); }
    const row = shape(marks, "g", { "data-row": label, "data-estimate": estimate, "data-low": low, "data-high": high });
    bar(row, [x(low), y], [x(high), y], INK);
    marker(row, x(estimate), y, -2, 6, INK);
  });
}

function bar(parent, [x1, y1], [x2, y2], colour) {
  shape(parent, "line", { x1, y1, x2, y2, stroke: colour, "stroke-width": 2.5 });
  const flat = y1 === y2;
  for (const [a, b] of [[x1, y1], [x2, y2]]) {
    shape(parent, "line", flat ? { x1: a, x2: a, y1: b - 6, y2: b + 6, stroke: colour, "stroke-width": 2.5 }
      : { x1: a - 6, x2: a + 6, y1: b, y2: b, stroke: colour, "stroke-width": 2.5 });
  }
}

const DRAW = {
  line(parent, m, x, y) {
    if (m.low.length && m.low[0] !== null) {
      const edge = [...m.x.map((v, i) => [x(v), y(m.high[i])]), ...m.x.map((v, i) => [x(v), y(m.low[i])]).reverse()];
      shape(parent, "polygon", { points: edge.map((p) => p.join(",")).join(" "), fill: look(m.look)[0], opacity: 0.15 });
    }
    const faint = m.look === -1;
    stroke(parent, m.x.map((v, i) => [x(v), y(m.y[i])]), m.look, faint ? 1.5 : 3, faint ? 0.7 : 1);
    if (!faint && m.x.length < 30) m.x.forEach((v, i) => marker(parent, x(v), y(m.y[i]), m.look, 5, look(m.look)[0]));
  },
  points(parent, m, x, y) {
    m.x.forEach((v, i) => {
      if (m.low.length && m.low[i] !== null) bar(parent, [x(v), y(m.low[i])], [x(v), y(m.high[i])], look(m.look)[0]);
      marker(parent, x(v), y(m.y[i]), m.look, 7, look(m.look)[0]);
    });
  },
  dots(parent, m, x, y) {
    m.x.forEach((v, i) => shape(parent, "circle", { cx: x(v), cy: y(m.y[i]), r: 3.2, fill: look(m.look)[0], opacity: 0.55 }));
  },
  bars(parent, m, x, y) {
    m.x.forEach((v, i) => {
      const left = x(v - m.width / 2), top = y(Math.max(0, m.y[i]));
      shape(parent, "rect", { x: left, y: top, width: Math.max(1, x(v + m.width / 2) - left), height: Math.max(0, y(0) - top), fill: look(m.look)[0] });
      if (m.low.length && m.low[i] !== null) bar(parent, [x(v), y(m.low[i])], [x(v), y(m.high[i])], INK);
    });
  },
  pairs(parent, m, x, y) {
    m.x.forEach((v, i) => shape(parent, "line", { x1: x(0), y1: y(v), x2: x(1), y2: y(m.y[i]), stroke: look(m.look)[0], "stroke-width": 1.2, opacity: 0.35 }));
  },
};

controls();
predictions();
foot();
at("reveal").addEventListener("click", reveal);
new ResizeObserver(paint).observe(at("picture"));
window.addEventListener("resize", paint);
document.documentElement.dataset.ready = "yes";
