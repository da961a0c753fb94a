// The tackle box: what the labels say, what follows from it, and how long the line really took in a bucket.
import { byId, button, debounce, el, field, group, input, name, select, textOf, toast } from "./dom.js";
import { model, on } from "./model.js";
import { put } from "./saving.js";
import { api } from "./net.js";
import { fixed, known, rules, typed } from "./units.js";

let box = null, dirty = false, physics = { lines: [], flies: [] }, was = "";

const LINE = [["name", "Name"], ["code", "Code on the box"], ["head_ft", "Head, ft", true], ["head_grains", "Grains", true], ["sink_ips", "Sink rate, inches per second", true], ["tip_ft", "Sinking tip, ft", true], ["rod_weight", "Rod weight", true], ["diameter_mm", "Diameter if measured, mm", true]];
const FLY = [["name", "Name"], ["length_mm", "Length, mm", true], ["mass_g", "Mass if weighed, g", true]];

function clean(row) {
  const found = {};
  for (const [key, value] of Object.entries(row)) {
    if (key === "extra") Object.assign(found, value || {});
    else if (value !== null && value !== undefined && value !== "") found[key] = value;
  }
  return found;
}

// The box as the file holds it, from either form in which the desk may give it
function taken(given) {
  const leader = given.leader && typeof given.leader === "object" ? given.leader : clean({ length_ft: known(given.leader_m) ? Number((given.leader_m / 0.3048).toFixed(2)) : null, diameter_mm: given.leader_diameter_mm, material: given.leader_material });
  const tippet = given.tippet && typeof given.tippet === "object" ? given.tippet : clean({ length_ft: known(given.tippet_m) ? Number((given.tippet_m / 0.3048).toFixed(2)) : null, x: given.tippet_x, material: given.tippet_material });
  return { line: (given.line || given.lines || []).map(clean), fly: (given.fly || given.flies || []).map(clean), leader: { ...leader }, tippet: { ...tippet }, generic: Boolean(given.generic) };
}

// Each row as the file has it: what was taken out of it is told as null, a new name with the old one
const origins = new WeakMap();
function remember(given) {
  for (const row of [...given.line, ...given.fly]) if (!given.generic) origins.set(row, { ...row });
  return given;
}

function told(row) {
  const origin = origins.get(row), found = { ...row };
  for (const key of Object.keys(origin || {})) if (!(key in row)) found[key] = null;
  if (origin && origin.name !== row.name) found.was = origin.name;
  return found;
}

function mark() {
  dirty = true;
  const save = byId("box-save");
  if (save) save.disabled = false;
}

const look = debounce(250, async () => {
  try {
    physics = await api("GET", "/api/tackle/physics");
  } catch (error) {
    physics = { lines: [], flies: [], said: error.status === 404 ? "" : textOf(error) };
  }
  paintPhysics();
});

function lineFigures(found) {
  return [
    known(found.diameter_mm) ? fixed(found.diameter_mm, 2) + " mm thick" : null,
    known(found.density_kg_m3) ? fixed(found.density_kg_m3, 0) + " kg/m³" : null,
    known(found.sink_ips) ? "sinks " + fixed(found.sink_ips, 1) + " inches per second lying level" + (known(found.sink_low_m_s) ? " (" + fixed(found.sink_low_m_s / 0.0254, 1) + " to " + fixed(found.sink_high_m_s / 0.0254, 1) + ")" : "") : null,
    known(found.sinking_length_m) ? fixed(found.sinking_length_m / 0.3048, 0) + " ft of it sinks, " + fixed(found.sinking_mass_g, 1) + " g" : null,
  ].filter(Boolean);
}

function flyFigures(found) {
  const own = found.members || {};
  return [
    known(own.mass_kg) ? fixed(1e3 * own.mass_kg, 2) + " g" : null,
    known(found.wet_weight_n) ? "weighs " + fixed((1e3 * found.wet_weight_n) / 9.81, 2) + " g in water" : null,
    known(found.towed_area_m2) ? "towed drag area " + fixed(1e4 * found.towed_area_m2, 2) + " cm²" : null,
    known(found.sink_m_s) ? "sinks " + fixed(found.sink_m_s / 0.0254, 1) + " inches per second" : null,
  ].filter(Boolean);
}

function paintPhysics() {
  for (const node of document.querySelectorAll("[data-figures]")) {
    const [kind, index] = node.dataset.figures.split("/"), one = box[kind][Number(index)];
    const list = kind === "line" ? physics.lines : physics.flies;
    paintFigures(node, kind, (typed_.get(one)) || (list || []).find((row) => row.name === one.name));
  }
}

function paintFigures(node, kind, found) {
  if (!found) {
    node.replaceChildren(el("span", { class: "hint", text: physics.said || "What follows from the label is shown here." }));
    return;
  }
  const words = kind === "line" ? lineFigures(found) : flyFigures(found), flags = found.flags || [];
  node.replaceChildren(
    words.length ? el("ul", { class: "derived" }, words.map((text) => el("li", { text: text }))) : "",
    flags.length ? el("ul", { class: "findings" }, flags.map((text) => el("li", { class: "finding finding-warning", text: text }))) : "",
    found.unfit ? el("p", { class: "finding finding-error", text: textOf({ given: found.unfit.given, need: found.unfit.need, next: found.unfit.next_step }) }) : "");
}

// What is being typed is worked out as it is typed, before it is saved.
const typed_ = new WeakMap();
const lookTyped = debounce(300, async (kind, row, node) => {
  try {
    const answer = await api("POST", "/api/tackle/physics", { [kind]: Object.fromEntries(Object.entries(row).filter(([key, value]) => value !== undefined && !Number.isNaN(value))) });
    const found = (kind === "line" ? answer.lines : answer.flies)[0], said = (answer.findings || [])[0];
    typed_.set(row, found ? { ...found, name: row.name } : { name: row.name, unfit: said || { given: "nothing follows from this yet", need: "more of the label", next_step: "go on" } });
    paintFigures(node, kind, typed_.get(row));
  } catch (error) {
    paintFigures(node, kind, { unfit: { given: error.given || "no answer", need: error.need, next_step: error.next } });
  }
});

function bind(row, key, words, numeric) {
  const node = input(row[key], numeric ? { inputmode: "decimal" } : {});
  node.addEventListener("input", () => {
    const value = numeric ? typed(node.value) : node.value.trim(), empty = node.value.trim() === "";
    node.setAttribute("aria-invalid", String(numeric && !empty && !Number.isFinite(value)));
    if (empty) delete row[key];
    else row[key] = value;
    mark();
    again(node, row);
  });
  return field(words, node);
}

function again(node, row) {
  const figures = node.closest(".card") && node.closest(".card").querySelector("[data-figures]");
  if (figures) lookTyped(figures.dataset.figures.split("/")[0], row, figures);
}

function choice(row, key, words, choices) {
  const node = select(row[key] || "", choices);
  node.addEventListener("change", () => {
    if (node.value) row[key] = node.value;
    else delete row[key];
    mark();
    again(node, row);
  });
  return field(words, node);
}

function card(kind, row, i, fields) {
  const node = el("details", { class: "card" }, el("summary", {}, name(row.name || "new " + kind)),
    el("div", { "data-figures": kind + "/" + i, class: "figures" }), ...fields,
    el("div", { class: "row" }, button("Take out of the box", () => {
      box[kind].splice(i, 1);
      mark();
      paintBox();
      toast((row.name || "It") + " is out; Save keeps it so.", "Put back", () => {
        box[kind].splice(i, 0, row);
        paintBox();
      });
    }, { class: "quiet", "aria-label": "Take out of the box: " + (row.name || kind) })));
  node.open = !row.name;
  return node;
}

function paintBox() {
  const root = byId("box-lists");
  root.replaceChildren(
    box.generic ? el("p", { class: "notice", text: "No tackle file yet: these are generic classes. Save makes them yours to change." }) : "",
    el("h3", { text: "Lines (" + box.line.length + ")" }),
    ...box.line.map((row, i) => card("line", row, i, [...LINE.map(([key, words, numeric]) => bind(row, key, words, numeric)), choice(row, "running", "Running line", [["floating", "floating"], ["sinking", "sinking"]])])),
    button("Add a line", () => {
      box.line.push({ name: "", running: "floating" });
      mark();
      paintBox();
    }, { id: "add-line" }),
    el("h3", { text: "Flies (" + box.fly.length + ")" }),
    ...box.fly.map((row, i) => card("fly", row, i, [...FLY.map(([key, words, numeric]) => bind(row, key, words, numeric)), choice(row, "drag", "Drag", rules.drags), choice(row, "weighting", "Weight", [["", "not given"], ...rules.weightings])])),
    button("Add a fly", () => {
      box.fly.push({ name: "", drag: "medium", weighting: "light" });
      mark();
      paintBox();
    }, { id: "add-fly" }),
    group("Leader", bind(box.leader, "length_ft", "Length, ft", true), bind(box.leader, "diameter_mm", "Diameter, mm", true), choice(box.leader, "material", "Material", ["nylon", "fluorocarbon"])),
    group("Tippet", bind(box.tippet, "length_ft", "Length, ft", true), bind(box.tippet, "x", "X", true), choice(box.tippet, "material", "Material", ["nylon", "fluorocarbon"])));
  paintPhysics();
}

async function save() {
  const wrong = byId("panel-box").querySelector('[aria-invalid="true"]');
  if (wrong) {
    wrong.focus();
    toast("A number is needed there.");
    return;
  }
  if ([...box.line, ...box.fly].some((row) => !row.name)) {
    toast("Every line and fly needs a name.");
    return;
  }
  const says = byId("box-says");
  try {
    const set = { line: box.line.map(told), fly: box.fly.map(told), leader: box.leader, tippet: box.tippet };
    dirty = false;
    await put("PUT", "/api/tackle", { set: set });
    says.replaceChildren("Saved.");
    box.generic = false;
    look();
  } catch (error) {
    dirty = true;
    says.replaceChildren(el("span", { role: "alert", text: "Not saved. " + textOf(error) }));
  }
}

// How long line or fly takes to sink in a bucket or tub: the drop and the seconds of each try
function calibration() {
  const kind = select("line", [["line", "line"], ["fly", "fly"]]), which = el("select", {}), deep = input("", { inputmode: "decimal" }), times = input("", { inputmode: "decimal" });
  const water = input("", { inputmode: "decimal" }), says = el("div", { id: "calibrate-says" });
  const fill = () => which.replaceChildren(...box[kind.value].map((row) => el("option", { value: row.name, text: row.name })));
  kind.addEventListener("change", fill);
  fill();
  const feet = model.river.units !== "metric";
  const go = async () => {
    const depth = typed(deep.value), list = times.value.split(/[\s;]+|,\s+/).filter(Boolean).map(typed), warm = typed(water.value);
    if (!Number.isFinite(depth) || depth <= 0 || !list.length || list.some((time) => !Number.isFinite(time) || time <= 0)) {
      toast("The drop and at least one time in seconds are needed.");
      return;
    }
    try {
      const answer = await api("POST", "/api/calibrate", { kind: kind.value, name: which.value, depth_m: feet ? depth * 0.0254 : depth / 100, times_s: list, ...(Number.isFinite(warm) ? { water_c: feet ? ((warm - 32) * 5) / 9 : warm } : {}) });
      const row = box[kind.value].find((one) => one.name === which.value), rows = [];
      for (const [key, value] of Object.entries(answer)) if (key !== "sentences" && (typeof value === "number" || typeof value === "string")) rows.push(el("dt", { text: key.replace(/_/g, " ") }), el("dd", { text: typeof value === "number" ? String(Number(value.toPrecision(4))) : value }));
      says.replaceChildren(...(answer.sentences || []).map((words) => el("p", {}, el("bdi", { text: words }))), el("dl", { class: "pairs" }, rows),
        row && (known(answer.sink_ips) || known(answer.mass_g)) ? button("Put this in the box", () => {
          if (kind.value === "line") row.sink_ips = Number(answer.sink_ips.toFixed(2));
          else row.mass_g = Number(answer.mass_g.toFixed(3));
          mark();
          paintBox();
          toast("In the box; Save keeps it.");
        }) : "");
    } catch (error) {
      says.replaceChildren(el("p", { class: "notice", role: "alert", text: error.status === 404 || error.status === 405 ? "Calibration is not in this desk yet." : textOf(error) }));
    }
  };
  return el("details", { class: "folded" }, el("summary", { text: "Bucket calibration" }),
    el("p", { class: "hint", text: "Cut a short piece (for a line), let it lie at the surface, let go and time it to the bottom of a tub of still water. Several tries, times with spaces between." }),
    field("What", kind), field("Which", which), field(feet ? "Drop, inches" : "Drop, cm", deep), field("Seconds of each try", times), field("Water, " + (feet ? "°F" : "°C"), water, "Empty: not corrected"),
    button("Work it out", go, { id: "calibrate-go" }), says);
}

function paint() {
  byId("panel-box").replaceChildren(
    el("div", { id: "box-lists" }),
    el("div", { class: "row sticky" }, button("Save the box", save, { id: "box-save", class: "strong", disabled: !dirty && !box.generic }), el("span", { id: "box-says", role: "status" })),
    calibration());
  paintBox();
}

export function startBox() {
  on("river", () => {
    const now = JSON.stringify(model.river.tackle);
    if (now === was || (dirty && was)) return;
    was = now;
    box = remember(taken(model.river.tackle || {}));
    paint();
    if (!byId("panel-box").hidden) look();
  });
  on("tab", (key) => {
    if (key === "box" && box) look();
  });
}

