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
    el("div", { "data-figures": kind + "/" + i, class: "figures" }), el("div", { class: "two" }, fields),
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
  const open = new Set([...document.querySelectorAll("#panel-box details[open] [data-figures]")].map((node) => node.dataset.figures));
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
  for (const node of root.querySelectorAll("[data-figures]")) if (open.has(node.dataset.figures)) node.closest("details").open = true;
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
  try {
    const set = { line: box.line.map(told), fly: box.fly.map(told), leader: box.leader, tippet: box.tippet };
    dirty = false;
    await put("PUT", "/api/tackle", { set: set });
    // the panel was painted anew when the folder was read again
    byId("box-says").replaceChildren("Saved.");
    look();
  } catch (error) {
    dirty = true;
    byId("box-says").replaceChildren(el("span", { role: "alert", text: "Not saved. " + textOf(error) }));
  }
}

// How long a piece of line, or a fly, takes to fall through still water: what that says of its sink rate
function calibration() {
  const feet = model.river.units !== "metric", says = el("div", { id: "calibrate-says" });
  const kind = select("line", [["line", "line"], ["fly", "fly"]]), which = el("select", {});
  const fell = input("", { placeholder: feet ? "3 ft" : "90 cm" }), times = input("", { placeholder: "6.1 5.8 6.4" });
  const length = input("", { placeholder: feet ? "2 ft" : "60 cm" }), weight = input("", { placeholder: "20 gr" }), water = input("", { placeholder: feet ? "65 F" : "18 C" });
  const lengthRow = field("Length of the piece", length, "Of a line: the piece that was timed"), waterRow = field("Water", water, "Empty: 20 °C is taken");
  const fill = () => {
    which.replaceChildren(...box[kind.value].map((row) => el("option", { value: row.name, text: row.name })));
    waterRow.hidden = kind.value === "fly";
  };
  kind.addEventListener("change", fill);
  fill();
  const go = async () => {
    const list = times.value.split(/[\s;]+|,\s+/).filter(Boolean).map(typed);
    if (!fell.value.trim() || !list.length || list.some((time) => !Number.isFinite(time) || time <= 0)) {
      toast("How deep it fell and at least one time in seconds are needed.");
      return;
    }
    const row = box[kind.value].find((one) => one.name === which.value);
    const given = { kind: kind.value, name: which.value, fell: fell.value.trim(), times: list };
    if (length.value.trim()) given.length = length.value.trim();
    if (weight.value.trim()) given.weight = weight.value.trim();
    if (kind.value === "line" && water.value.trim()) given.water = water.value.trim();
    if (kind.value === "fly" && row) Object.assign(given, { drag: row.drag, weighting: row.weighting });
    try {
      const answer = await api("POST", "/api/calibrate", given), members = Object.entries(answer.toml || {});
      says.replaceChildren(...(answer.sentences || []).filter(Boolean).map((words) => el("p", {}, el("bdi", { text: words }))),
        row && members.length ? button("Put this in the box", () => {
          for (const [key, value] of members) row[key] = value;
          mark();
          paintBox();
          toast("In the box; Save keeps it.");
        }, { id: "calibrate-take" }) : "");
    } catch (error) {
      says.replaceChildren(el("p", { class: "notice", role: "alert", text: textOf(error) }));
    }
  };
  return el("details", { class: "folded", id: "calibration" }, el("summary", { text: "Bucket calibration" }),
    el("p", { class: "hint", text: "Let a short piece of the line, or the fly, go at the surface of a deep bucket of still water and time it to the bottom. Several tries, with spaces between the times." }),
    field("What", kind), field("Which", which), field("It fell", fell), field("Seconds of each try", times), lengthRow, field("Weight of the piece", weight, "If weighed"), waterRow,
    button("Work it out", go, { id: "calibrate-go" }), says);
}

function paint() {
  const lists = byId("box-lists") || el("div", { id: "box-lists" });
  byId("panel-box").replaceChildren(
    lists,
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

