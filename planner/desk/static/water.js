// The water: "what if the gauge reads", cells of depth or current with their letters, and the section under the pointer.
import { byId, button, debounce, el, field, input, latest, say, select, svg, table, textOf } from "./dom.js";
import { doubtOf, hands, lonlat, map, showCells, showLine } from "./map.js";
import { emit, feature, features, flowline, idOf, model, on, pickedFeature, ringOf, titleOf } from "./model.js";
import { setCaution, forgetCautions } from "./caution.js";
import { alongWithin, inside } from "./geo.js";
import { api, query } from "./net.js";
import { classMark, classOf, fixed, known, legend, number, rules, show, span, toSI, typed, unit, units } from "./units.js";

let by = "depth", shown = null, runId = "", at = null, asked = "", walk = [], stamp = 0, painted = "";
const levelSet = {};

export function levelText() {
  return model.level;
}

function setLevel(value, quiet) {
  model.level = Number.isFinite(value) ? value.toFixed(2) + " " + (units() === "us" ? "ft" : "m") : "";
  say(levelSet.now, model.level ? number(toSI(value, "level"), "level") + " " + unit("level") : "as last read");
  levelSet.number.removeAttribute("aria-invalid");
  if (Number.isFinite(value)) {
    levelSet.range.value = String(Math.min(Number(levelSet.range.max), Math.max(Number(levelSet.range.min), value)));
    levelSet.range.setAttribute("aria-valuetext", fixed(value, 2) + " " + unit("level"));
  } else levelSet.range.setAttribute("aria-valuetext", "as last read");
  levelSet.back.disabled = !model.level;
  if (!quiet) levelSet.number.value = Number.isFinite(value) ? fixed(value, 2) : "";
  forgetCautions();
  emit("level");
}

// The slider reaches two metres either side of the last reading, in steps of a hundredth.
function levelRange(read) {
  const feet = units() === "us", wide = feet ? 6 : 2, step = feet ? 0.05 : 0.02;
  const middle_ = known(read) ? read / (feet ? 0.3048 : 1) : feet ? 4 : 1.2;
  levelSet.range.min = String(Math.floor((middle_ - wide) / step) * step);
  levelSet.range.max = String(Math.ceil((middle_ + wide) / step) * step);
  levelSet.range.step = String(step);
  if (!model.level) levelSet.range.value = String(middle_);
}

let lastRead = null;
export function noteRead(level) {
  if (!level || model.level || level.given) return;
  const stage = level.stage_m;
  say(levelSet.read, level.said ? level.said : known(stage) ? "last reading " + show(stage, "level") : known(level.discharge_m3s) ? "last reading " + show(level.discharge_m3s, "discharge") : "the gauge has no reading");
  if (known(stage) && stage !== lastRead) {
    lastRead = stage;
    levelRange(stage);
  }
}

function levelControls() {
  const range = el("input", { type: "range", id: "level-range", "aria-label": "Gauge level" });
  const field_ = input("", { inputmode: "decimal", id: "level-number", "aria-label": "Gauge level, as a number" });
  const later = debounce(140, (value) => setLevel(value));
  range.addEventListener("input", () => {
    say(levelSet.now, fixed(Number(range.value), 2) + " " + unit("level"));
    later(Number(range.value));
  });
  const take = () => {
    const value = typed(field_.value), bad = field_.value.trim() !== "" && !Number.isFinite(value);
    field_.setAttribute("aria-invalid", String(bad));
    if (!bad) setLevel(value, true);
  };
  field_.addEventListener("change", take);
  field_.addEventListener("keydown", (event) => {
    if (event.key === "Enter") take();
  });
  const back = button("As last read", () => setLevel(NaN), { id: "level-back", disabled: true });
  const now = el("b", { id: "level-now", text: "as last read" }), read = el("span", { class: "hint" });
  Object.assign(levelSet, { range: range, number: field_, back: back, now: now, read: read });
  byId("level-set").replaceChildren(
    el("p", { class: "level-line" }, now, " ", read), range,
    el("div", { class: "row" }, field_, el("span", { class: "unit", id: "level-unit", text: unit("level") }), back));
  levelRange(null);
}

// Cells of a run, and the picture as soon as they come. Quick calls keep the latest only.
const fetchCells = latest(async (id) => {
  // a run that is not with the desk yet is asked for when it has been saved
  if (model.queue.some((edit) => edit.kind === "runs" && edit.set.some((one) => idOf(one) === id))) return;
  const key = id + "|" + model.level + "|" + stamp;
  if (key === asked && shown) return;
  try {
    const answer = await api("GET", "/api/see/run/" + encodeURIComponent(id) + query({ level: model.level }));
    if (id !== runId) return;
    asked = key;
    shown = answer;
    noteRead(answer.level);
    setCaution("run", answer.caution, titleOf("runs", feature("runs", id) || { properties: { id: id } }));
    showCells(shown.cells, shown.step_m, by);
    paintRun();
    if (at) fetchSection(at);
  } catch (error) {
    if (id !== runId) return;
    asked = "";
    shown = null;
    showCells([]);
    setCaution("run", null);
    paintRun(textOf(error));
  }
});

export function lookAtRun(id) {
  if (!id || !feature("runs", id)) {
    runId = "";
    shown = null;
    asked = "";
    at = null;
    showCells([]);
    showLine("section", null);
    paintIfNew();
    return;
  }
  if (id !== runId) {
    runId = id;
    shown = null;
    asked = "";
    at = null;
    paintIfNew();
  }
  fetchCells(id);
}

function stateWords(state) {
  if (!state) return [];
  const rows = [];
  const add = (words, value) => rows.push(el("dt", { text: words }), el("dd", {}, value));
  add("Mean depth", show(state.mean_depth_m, "depth"));
  add("Greatest depth", show(state.max_depth_m, "depth"));
  add("Current", el("span", {}, known(state.velocity_used_m_s) ? classMark("speed", state.velocity_used_m_s) : "", " " + (known(state.velocity_low_m_s) ? span(state.velocity_low_m_s, state.velocity_high_m_s, "speed") : show(state.velocity_used_m_s, "speed"))));
  add("Manning and discharge over area", known(state.velocity_continuity_m_s) ? show(state.velocity_manning_m_s, "speed") + " and " + show(state.velocity_continuity_m_s, "speed") + (known(state.velocity_ratio) ? ", ratio " + fixed(state.velocity_ratio, 2) : "") : show(state.velocity_manning_m_s, "speed") + "; discharge not known");
  add("Error of the bed, by leaving soundings out", show(state.bed_error_m, "depth"));
  add("Soundings in the run", String(state.soundings ?? 0));
  return rows;
}

function paintRun(wrong) {
  const box = byId("water-run");
  if (!box) return;
  if (wrong) {
    box.replaceChildren(el("p", { class: "notice", role: "alert", text: wrong }));
    return;
  }
  if (!shown) {
    box.replaceChildren(el("p", { class: "hint", text: runId ? "Computing." : "Draw a run first." }));
    return;
  }
  const counts = [0, 0, 0];
  for (const cell of shown.cells) counts[doubtOf(cell)] += 1;
  const share = (n) => (shown.cells.length ? Math.round((100 * n) / shown.cells.length) : 0) + " %";
  const limits = [...new Set(shown.limits || [])];
  box.replaceChildren(
    shown.cells.length ? legend(by) : el("p", { class: "notice", text: shown.soundings ? limits[0] || "No depth is known here." : "No soundings here yet, so no depth and no current. Drop in soundings, or set some on the map." }),
    shown.cells.length ? el("p", { class: "hint", text: "No stroke: sounded (" + share(counts[0]) + " of the cells). One stroke: between soundings (" + share(counts[1]) + "). Cross: guessed (" + share(counts[2]) + ")." }) : "",
    el("dl", { class: "pairs" }, stateWords(shown.state)),
    limits.length ? el("details", { class: "folded" }, el("summary", { text: "What weakens this (" + limits.length + ")" }), el("ul", {}, limits.map((limit) => el("li", { text: limit })))) : "");
}

// The section through a point: bed, water, hold band, current in classes, and what is guessed. River left is left.
const fetchSection = latest(async (p) => {
  if (!runId || !shown || !shown.cells.length) return;
  try {
    const found = await api("GET", "/api/see/section/" + encodeURIComponent(runId) + query({ lon: p[0].toFixed(7), lat: p[1].toFixed(7), level: model.level }));
    paintSection(found, p);
  } catch (error) {
    byId("water-section").replaceChildren(el("p", { class: "hint", text: textOf(error) }));
  }
});

function paintSection(found, p) {
  const box = byId("water-section");
  if (!box) return;
  const n = (found.n_m || []).map((value) => -value), z = found.z_m || [], ok = n.map((value, i) => known(value) && known(z[i]) && z[i] !== null);
  if (n.filter((value, i) => ok[i]).length < 2 || !known(found.level_m)) {
    box.replaceChildren(el("p", { class: "hint", text: "No section here: no soundings near enough." }));
    showLine("section", null);
    return;
  }
  const wide = 420, high = 190, pad = { l: 44, r: 8, t: 20, b: 34 };
  const left = Math.min(...n), right = Math.max(...n), low = Math.min(...z.filter((value) => known(value) && value !== null)), top = found.level_m;
  const deep = Math.max(top - low, 0.3);
  const x = (value) => pad.l + ((value - left) / Math.max(right - left, 0.1)) * (wide - pad.l - pad.r);
  const y = (value) => pad.t + ((top - value) / deep) * (high - pad.t - pad.b);
  const node = svg("svg", { viewBox: "0 0 " + wide + " " + high, class: "section-drawing", role: "img" });
  svg("title", {}, node).textContent = "Section looking downstream, river left at the left";
  svg("rect", { x: 0, y: 0, width: wide, height: high, fill: "#ffffff" }, node);
  for (let i = 0; i < n.length; i += 1) {
    const depth = top - z[i];
    if (!ok[i] || depth <= 0) continue;
    const a = i ? (n[i - 1] + n[i]) / 2 : n[i], b = i + 1 < n.length ? (n[i] + n[i + 1]) / 2 : n[i], speed = (found.velocity || [])[i];
    const x0 = Math.min(x(a), x(b)), w = Math.abs(x(b) - x(a));
    svg("rect", { x: x0, y: y(top), width: w + 0.4, height: y(z[i]) - y(top), fill: classOf("speed", speed)[1] }, node);
    const doubt = { sounded: 0, between: 1, guessed: 2 }[(found.confidence || [])[i]] ?? 2;
    if (doubt === 2) svg("rect", { x: x0, y: high - pad.b + 3, width: w + 0.4, height: 6, fill: "#111111" }, node);
    else if (doubt === 1) svg("rect", { x: x0, y: high - pad.b + 3, width: w + 0.4, height: 6, fill: "#9a948a" }, node);
  }
  const hold = found.hold || rules.hold_m, bed = n.map((value, i) => (ok[i] ? x(value).toFixed(1) + " " + y(Math.min(z[i], top + 0.2)).toFixed(1) : null)).filter(Boolean);
  for (const h of hold) {
    const line = n.map((value, i) => (ok[i] && z[i] + h < top ? x(value).toFixed(1) + " " + y(z[i] + h).toFixed(1) : null)).filter(Boolean);
    if (line.length > 1) svg("path", { d: "M" + line.join("L"), fill: "none", stroke: "#5b1a8b", "stroke-width": 1.5, "stroke-dasharray": "5 4" }, node);
  }
  svg("path", { d: "M" + bed.join("L"), fill: "none", stroke: "#111111", "stroke-width": 3 }, node);
  svg("path", { d: "M" + x(left) + " " + y(top) + "H" + x(right), stroke: "#111111", "stroke-width": 1.5 }, node);
  let last = -99;
  n.forEach((value, i) => {
    const speed = (found.velocity || [])[i];
    if (!ok[i] || top - z[i] < 0.1 || Math.abs(x(value) - last) < 30) return;
    last = x(value);
    const words = svg("text", { x: last, y: y(top) - 5, "text-anchor": "middle", class: "section-letter" }, node);
    words.textContent = classOf("speed", speed)[0];
  });
  for (const depth of [0, deep / 2, deep]) {
    const words = svg("text", { x: pad.l - 5, y: y(top - depth) + 4, "text-anchor": "end", class: "section-number" }, node);
    words.textContent = number(depth, "depth");
  }
  for (const [words, where, anchor] of [["river left", pad.l, "start"], ["river right", wide - pad.r, "end"]]) {
    svg("text", { x: where, y: high - 8, "text-anchor": anchor, class: "section-number" }, node).textContent = words;
  }
  const here = known(found.at_n_m) ? -found.at_n_m : null;
  let nearest = null;
  if (here !== null) {
    svg("path", { d: "M" + x(here) + " " + pad.t + "V" + (high - pad.b), stroke: "#D55E00", "stroke-width": 2 }, node);
    nearest = n.reduce((best, value, i) => (ok[i] && (best < 0 || Math.abs(value - here) < Math.abs(n[best] - here)) ? i : best), -1);
  }
  const said = nearest !== null && nearest >= 0
    ? "Here: " + show(Math.max(0, top - z[nearest]), "depth") + " deep, " + (known((found.velocity || [])[nearest]) ? show(found.velocity[nearest], "speed") : "current not known") + ", " + ((found.confidence || [])[nearest] || "confidence not known") + "."
    : "";
  box.replaceChildren(el("p", { class: "figures", id: "section-says", text: said }), node,
    el("p", { class: "hint", text: "Depth in " + unit("depth") + "; letters are the current. Dashed: the hold band. Under it, black: guessed; grey: between soundings." }),
    el("details", { class: "folded" }, el("summary", { text: "The section as numbers" }), table("Depth and current across, river left first", ["Across, " + unit("length"), "Depth, " + unit("depth"), "Current, " + unit("speed"), "Bed"], n.map((value, i) => [value, z[i], i]).filter((row) => ok[row[2]]).filter((row, i, all) => i % Math.max(1, Math.round(all.length / 12)) === 0).map(([value, bed_, i]) => [number(value, "length"), show(Math.max(0, top - bed_), "depth"), show((found.velocity || [])[i], "speed"), String((found.confidence || [])[i] || "")]), { class: "plain" })));
  const ends = found.at && found.at.length === 2 ? found.at : null;
  showLine("section", ends || [p, p], { color: "#D55E00", weight: 3, dashArray: "2 6" });
}

// The panel is painted anew only when the runs, the flowline or the units changed: a slider in use stays.
function paintIfNew() {
  const now = JSON.stringify([runId, features("runs").map((run) => [idOf(run), titleOf("runs", run), run.geometry]), flowline(), units()]);
  if (now === painted) return;
  painted = now;
  paint();
}

function paint() {
  const root = byId("panel-water"), runs = features("runs");
  const which = select(runId, [["", "choose a run"], ...runs.map((run) => [idOf(run), titleOf("runs", run)])], { id: "water-which" });
  which.addEventListener("change", () => lookAtRun(which.value));
  const pressed = (kind, words) => button(words, () => {
    by = kind;
    if (shown) showCells(shown.cells, shown.step_m, by);
    for (const one of root.querySelectorAll("[data-by]")) one.setAttribute("aria-pressed", String(one.dataset.by === by));
    paintRun();
  }, { "aria-pressed": String(by === kind), "data-by": kind });
  const run = feature("runs", runId);
  walk = run && flowline() ? alongWithin(flowline(), ringOf(run), 60) : [];
  const along = el("input", { type: "range", min: "0", max: String(Math.max(0, walk.length - 1)), step: "1", id: "water-along", value: String(Math.floor(walk.length / 2)) });
  along.addEventListener("input", () => {
    at = walk[Number(along.value)];
    along.setAttribute("aria-valuetext", "place " + (Number(along.value) + 1) + " of " + walk.length + " from the head of the run");
    if (at) fetchSection(at);
  });
  root.replaceChildren(
    runs.length ? field("Run", which) : el("p", { class: "hint", text: "Draw a run first; depth and current follow from its soundings." }),
    runs.length ? el("div", { class: "row", role: "group", "aria-label": "Colour the cells by" }, pressed("depth", "Depth"), pressed("speed", "Current")) : "",
    el("div", { id: "water-run" }),
    runs.length ? el("h3", { text: "Section" }) : "",
    walk.length > 1 ? field("Along the run, head to tail", along, "Or point at the run on the map") : runs.length ? el("p", { class: "hint", text: "Point at the run on the map" + (flowline() ? "." : "; with a flowline also by slider.") }) : "",
    el("div", { id: "water-section" }));
  if (runs.length) paintRun();
}

// Under the pointer: the nearest cell in words at once, the section as fast as it is computed
function pointed(event) {
  if (hands.taps || model.hands || !runId || !shown || !shown.cells.length) return;
  const run = feature("runs", runId), p = lonlat(event.latlng), pointer = byId("pointer");
  if (!run || !inside(p, ringOf(run))) {
    if (!pointer.hidden && pointer.dataset.water) pointer.hidden = true;
    return;
  }
  let best = null;
  for (const cell of shown.cells) {
    const far = (cell[0] - p[0]) ** 2 + (cell[1] - p[1]) ** 2;
    if (!best || far < best.far) best = { far: far, cell: cell };
  }
  const cell = best.cell;
  pointer.hidden = false;
  pointer.dataset.water = "1";
  say(pointer, show(cell[2], "depth") + (known(cell[3]) ? " ± " + number(cell[3], "depth") : "") + ", " + (known(cell[4]) ? show(cell[4], "speed") : "current not known") + ", " + (cell[5] ?? "confidence not known"));
  if (byId("panel-water").hidden) return;
  at = p;
  fetchSection(p);
}

export function startWater() {
  levelControls();
  paint();
  on("river", () => {
    levelControls.units = levelControls.units || units();
    if (levelControls.units !== units()) {
      levelControls.units = units();
      levelControls();
      setLevel(NaN);
    }
    if (runId && !feature("runs", runId)) runId = "";
    stamp += 1;
    paintIfNew();
    if (runId) fetchCells(runId);
    else if (features("runs").length && (model.river.soundings || {}).count) lookAtRun(idOf(features("runs")[0]));
  });
  on("saved", () => {
    paintIfNew();
    if (runId && feature("runs", runId)) fetchCells(runId);
  });
  // a moved cast changes no water
  on("edit", (kind) => {
    if (kind !== "spots") stamp += 1;
  });
  on("level", () => {
    if (runId) fetchCells(runId);
  });
  on("picked", (picked) => {
    if (!picked) return;
    const found = pickedFeature(), id = picked.kind === "runs" ? picked.id : picked.kind === "spots" ? found.properties.run : "";
    if (id) lookAtRun(id);
  });
  map.on("mousemove", pointed);
  map.on("click", (event) => {
    if (!hands.taps && !byId("panel-water").hidden) pointed(event);
  });
  map.on("mouseout", () => {
    if (byId("pointer").dataset.water) byId("pointer").hidden = true;
  });
}

