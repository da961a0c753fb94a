// The Draw panel: what the folder holds, the picked one's members, its points as numbers, and what the checker says.
import { ask, byId, button, el, field, group, input, name, select, textOf, toast } from "./dom.js";
import { fitFeature, hands, inSight, seenSize } from "./map.js";
import { ONE, emit, feature, features, flowline, idOf, model, on, pick, pickedFeature, polygon, ringOf, titleOf } from "./model.js";
import { bankEdges, crossesItself, lineLength, splitAtCorners } from "./geo.js";
import { addPoint, castFits, castWords, drawnPoints, handlesOfPicked, rememberStance, replacePoints, setTool, splitPicked, toolNow } from "./draw.js";
import { adder, pointList } from "./points.js";
import { edit, step } from "./saving.js";
import { fromSI, rules, show, toSI, typed, unit } from "./units.js";

const BANK_WORDS = { both: "both banks", left: "left bank (looking downstream)", right: "right bank (looking downstream)", none: "neither: it lies within the water" };
let openedPoints = false, openedMore = false;

function panel() {
  return byId("panel-draw");
}

function change(kind, found, properties, said) {
  edit(kind, [{ ...found, properties: { ...found.properties, ...properties } }], [], said || "Changed " + titleOf(kind, found));
}

// A text field that saves when left; an empty one takes the member away.
function textField(kind, found, key, words, hint) {
  const node = input(found.properties[key], { "data-member": key });
  node.addEventListener("change", () => change(kind, found, { [key]: node.value.trim() || null }));
  return field(words, node, hint);
}

function numberField(kind, found, key, words, options) {
  const { quantity, hint } = options || {};
  const shown = found.properties[key], node = input(quantity ? fromSI(shown, quantity) : shown ?? "", { inputmode: "decimal", "data-member": key });
  node.addEventListener("change", () => {
    const value = typed(node.value), empty = node.value.trim() === "";
    node.setAttribute("aria-invalid", String(!empty && !Number.isFinite(value)));
    if (!empty && !Number.isFinite(value)) {
      toast(words + ": type a number, or leave it empty.");
      return;
    }
    change(kind, found, { [key]: empty ? null : quantity ? Number(toSI(value, quantity).toFixed(4)) : value });
  });
  return field(words + (quantity ? ", " + unit(quantity) : ""), node, hint);
}

function choiceField(kind, found, key, words, choices, hint) {
  const node = select(found.properties[key] || "", choices, { "data-member": key });
  node.addEventListener("change", () => {
    if (key === "stance") rememberStance(node.value);
    change(kind, found, { [key]: node.value || null });
  });
  return field(words, node, hint);
}

function momentField(kind, found, key, words) {
  const now = found.properties[key], node = input(now || "", { "data-member": key, placeholder: "2026-05-30T09:00-05:00" });
  node.addEventListener("change", () => change(kind, found, { [key]: node.value.trim() || null }));
  return field(words, node, "Date, time and offset. The level of that moment places the edge.");
}

function bedFields(run) {
  const given = run.properties, bed = typeof given.bed === "string" ? given.bed : given.bed && given.bed.class;
  const own = select(bed || "", [["", given.n || given.d84_mm ? "by number below" : "as in the settings"], ...rules.beds.map((row) => [row[0], row[1]])], { "data-member": "bed" });
  own.addEventListener("change", () => change("runs", run, { bed: own.value || null, n: null, d84_mm: null }));
  return [field("Bed", own), numberField("runs", run, "n", "or Manning’s n"), numberField("runs", run, "d84_mm", "or d84, mm", { hint: "84 % of the stones are smaller" })];
}

function more(words, ...parts) {
  const node = el("details", { class: "folded" }, el("summary", { text: words }), ...parts);
  node.open = openedMore;
  node.addEventListener("toggle", () => {
    openedMore = node.open;
  });
  return node;
}

function runForm(run) {
  const ring = ringOf(run), banks = select(run.properties.banks || "none", rules.banks.map((bank) => [bank, BANK_WORDS[bank]]), { "data-member": "banks" });
  banks.addEventListener("change", () => change("runs", run, { banks: banks.value }));
  const sides = bankEdges(ring, flowline());
  const bare = sides.every((side) => side === "end") ? "No edge of this outline lies along the flow." : "A thick edge on the map is the water’s edge." + (flowline() ? "" : " Draw the flowline first: it tells left from right.");
  const tap = button("Choose edges on the map", (event) => {
    hands.banks = !hands.banks;
    event.currentTarget.setAttribute("aria-pressed", String(hands.banks));
    handlesOfPicked();
  }, { "aria-pressed": String(Boolean(hands.banks)), id: "banks-tap" });
  const corner = (label) => select("0", ring.map((p, i) => [String(i), "corner " + (i + 1)]), { "aria-label": label });
  const one = corner("From corner"), two = corner("To corner");
  two.value = String(Math.floor(ring.length / 2));
  return [
    textField("runs", run, "name", "Name"),
    group("Water’s edge", field("Which edges", banks), el("p", { class: "hint", text: bare }), tap),
    numberField("runs", run, "hold_low_m", "Fish hold from", { quantity: "depth", hint: "Above the bed; empty means " + show(rules.hold_m[0], "depth") }),
    numberField("runs", run, "hold_high_m", "up to", { quantity: "depth", hint: "Empty means " + show(rules.hold_m[1], "depth") }),
    more("Slope, bed, gauge and the rest",
      numberField("runs", run, "slope", "Slope", { hint: "Fall over length, such as 0.0008; empty takes the settings’" }),
      ...bedFields(run),
      textField("runs", run, "gauge", "Gauge", "Empty takes the river’s first"),
      momentField("runs", run, "waterline_at", "Outline drawn as at"),
      numberField("runs", run, "flow_share", "Share of the river’s flow", { hint: "0 to 1, where this is one channel of several" }),
      numberField("runs", run, "area_ratio", "Drainage area, run over gauge"),
      numberField("runs", run, "lag_min", "Minutes after the gauge"),
      field("Still water", checkbox("runs", run, "still"), "A lake or backwater"),
      textField("runs", run, "note", "Note")),
    more("Split between two corners", el("div", { class: "row" }, one, two, button("Split here", () => splitPicked((all) => splitAtCorners(all, Number(one.value), Number(two.value)))))),
  ];
}

function checkbox(kind, found, key) {
  const node = el("input", { type: "checkbox", checked: found.properties[key] === true, "data-member": key });
  node.addEventListener("change", () => change(kind, found, { [key]: node.checked || null }));
  return node;
}

function spotForm(spot) {
  const runs = features("runs").map((run) => [idOf(run), titleOf("runs", run)]);
  const drifting = spot.properties.stance === "drifting";
  return [
    textField("spots", spot, "name", "Name"),
    choiceField("spots", spot, "stance", "Stance", Object.entries(rules.stances).map(([key, words]) => [key, words[1]])),
    el("p", { class: "figures", id: "cast-now", text: castWords(...spot.geometry.coordinates) }),
    choiceField("spots", spot, "run", "Run", [["", "none"], ...runs]),
    drifting ? numberField("spots", spot, "boat_speed_ratio", "Boat speed over current", { hint: "0 anchored, 1 drifting free" }) : null,
    more("Hold band and note",
      numberField("spots", spot, "hold_low_m", "Fish hold from", { quantity: "depth", hint: "Above the bed; empty takes the run’s" }),
      numberField("spots", spot, "hold_high_m", "up to", { quantity: "depth" }),
      textField("spots", spot, "note", "Note")),
    el("div", { class: "row" }, button("Turn the cast around", () => edit("spots", [{ ...spot, geometry: { type: "LineString", coordinates: spot.geometry.coordinates.slice().reverse() } }], [], "Turned " + titleOf("spots", spot)))),
  ];
}

function placeForm(place) {
  const kind = place.properties.kind, parts = [textField("places", place, "name", "Name")];
  if (kind === "hazard") {
    const node = input(place.properties.hazard_kind, { list: "hazard-kinds", "data-member": "hazard_kind" });
    node.addEventListener("change", () => change("places", place, { hazard_kind: node.value.trim() || null }));
    parts.push(field("What it is", node, "Dams, weirs and wood raise cautions of their own"), el("datalist", { id: "hazard-kinds" }, rules.hazards.map((one) => el("option", { value: one }))));
  }
  if (kind === "flowline") {
    parts.push(el("p", { class: "figures", text: show(lineLength(place.geometry.coordinates), "length") + " long; arrows point downstream" }));
    parts.push(el("div", { class: "row" }, button("Turn downstream around", () => edit("places", [{ ...place, geometry: { type: "LineString", coordinates: place.geometry.coordinates.slice().reverse() } }], [], "Turned the flowline"))));
  }
  parts.push(textField("places", place, "note", "Note"));
  return parts;
}

const FORMS = { runs: runForm, spots: spotForm, places: placeForm };

async function remove(kind, found) {
  const id = idOf(found), title = titleOf(kind, found);
  const spots = kind === "runs" ? features("spots").filter((spot) => spot.properties.run === id) : [];
  let with_ = false;
  if (spots.length) {
    const answer = await ask("Delete " + title + "?", [spots.length + (spots.length === 1 ? " spot fishes" : " spots fish") + " this run. Deleting can be undone."], [["all", "Delete run and spots"], ["run", "Delete the run alone"], [null, "Keep it"]]);
    if (!answer) return;
    with_ = answer === "all";
  }
  pick(null);
  if (with_) edit("spots", [], spots.map(idOf), "Deleted the spots of " + title);
  edit(kind, [], [id], "Deleted " + title);
  toast(title + (with_ ? " and its spots" : "") + " deleted.", "Undo", () => step("back", with_ ? 2 : 1));
}

function pointsOf(kind, found) {
  const shape = found.geometry.type, closed = shape === "Polygon";
  const list = closed ? ringOf(found) : shape === "Point" ? [found.geometry.coordinates] : found.geometry.coordinates;
  const names = (i) => (kind === "spots" ? ["stance", "landing"][i] : shape === "Point" ? "position" : (closed ? "corner " : "point ") + (i + 1));
  const node = el("details", { class: "folded", id: "points-typed" }, el("summary", { text: "Points as numbers" }));
  node.open = openedPoints || list.length <= 2;
  const fill = () => node.append(pointList(list, { names: names, closed: closed, fixed: kind === "spots" || shape === "Point", done: (all, what) => {
    if (closed && crossesItself(all)) {
      toast("That would make the outline cross itself; nothing was changed.");
      return;
    }
    if (kind === "spots" && !castFits(all)) return;
    const geometry = closed ? polygon(all, found.geometry.coordinates.slice(1)) : { type: shape, coordinates: shape === "Point" ? all[0] : all };
    emit("edited", { kind: kind, id: idOf(found), at: performance.now() });
    edit(kind, [{ ...found, geometry: geometry }], [], (what === "add" ? "Added a point to " : what === "remove" ? "Took a point from " : "Moved a point of ") + titleOf(kind, found));
  } }));
  if (node.open) fill();
  node.addEventListener("toggle", () => {
    if (list.length > 2) openedPoints = node.open;
    if (node.open && node.children.length === 1) fill();
  });
  return node;
}

function findingsOf(kind, id) {
  const file = kind + ".geojson";
  return ((model.river && model.river.findings) || []).filter((one) => one.file === file && String(one.where || "").includes("(" + id + ")"));
}

function findingNode(finding) {
  return el("li", { class: "finding finding-" + finding.level }, el("b", { text: { error: "Error", warning: "Warning", note: "Note" }[finding.level] || "Note" }), ": ", el("bdi", { text: textOf({ given: finding.given, need: finding.need, next: finding.next_step }) }));
}

function pickedForm(kind, found) {
  const id = idOf(found), notes = findingsOf(kind, id);
  return el("section", { class: "picked-form", "aria-label": "Picked " + ONE[kind] },
    el("div", { class: "row spread" }, el("h3", { tabindex: "-1", id: "picked-h" }, name(titleOf(kind, found))), button("Done", () => pick(null), { class: "quiet", id: "picked-done" })),
    found.unsaved && model.refused.has(kind + "/" + id) ? el("p", { class: "notice", text: "Not saved: see the message at the top." }) : null,
    notes.length ? el("ul", { class: "findings" }, notes.map(findingNode)) : null,
    kind === "spots" ? el("div", { id: "spot-plan", class: "spot-plan" }) : null,
    ...FORMS[kind](found).filter(Boolean),
    pointsOf(kind, found),
    el("div", { class: "row" },
      button("Show on the map", () => fitFeature(found), { class: "quiet" }),
      button("Delete " + (kind === "places" && found.properties.kind === "flowline" ? "flowline" : ONE[kind]), () => remove(kind, found), { id: "delete-picked" })));
}

function list(kind, title, none) {
  const found = features(kind).slice();
  const words = (one) => {
    const p = one.properties;
    if (kind === "runs") return "banks " + (p.banks || "none");
    if (kind === "spots") return ((rules.stances[p.stance] || ["", "stance not given"])[1]) + ", " + show(lineLength(one.geometry.coordinates), "length");
    return { put_in: "put-in", take_out: "take-out", hazard: "hazard" + (p.hazard_kind ? ": " + p.hazard_kind : ""), flowline: "flowline" }[p.kind] || String(p.kind);
  };
  if (!found.length) return [el("h3", { text: title }), el("p", { class: "hint", text: none })];
  return [el("h3", { text: title + " (" + found.length + ")" }), el("ul", { class: "things" }, found.map((one) => el("li", {},
    el("button", { type: "button", class: "thing", "data-thing": kind + "/" + idOf(one), on: { click: () => open(kind, idOf(one)) } },
      name(titleOf(kind, one)), el("span", { class: "hint", text: words(one) }), one.unsaved ? el("span", { class: "unsaved", text: "not saved yet" }) : null))))];
}

export function open(kind, id) {
  const found = feature(kind, id);
  if (!found) return;
  document.getElementById("tab-draw").click();
  pick(kind, id);
  if (!inSight(found) || (found.geometry.type !== "Point" && seenSize(found) < 130)) fitFeature(found);
  const head = byId("picked-h");
  if (head) head.focus();
}

// Drawing by typing: the points so far and one more, without a pointer.
function drawingForm() {
  const tool = toolNow(), points = drawnPoints();
  const names = (i) => (tool === "spot" ? ["stance", "landing"][i] : "point " + (i + 1)) || "point";
  return el("section", { class: "picked-form", "aria-label": "Drawing by numbers" }, el("h3", { text: "Or type the points" }),
    points.length ? el("ol", { class: "points" }, points.map((p, i) => el("li", {}, el("span", { class: "point-name", text: names(i) + ": " + p[1].toFixed(6) + ", " + p[0].toFixed(6) }),
      button("Take away", () => replacePoints(points.filter((one, k) => k !== i)), { class: "quiet", "aria-label": "Take away " + names(i) })))) : null,
    adder("Set this point", (p) => {
      addPoint(p);
      const next = byId("drawing-by-number").querySelector("input");
      if (next) next.focus();
    }));
}

function nameOf(node) {
  return node.dataset.member || node.getAttribute("aria-label") || "";
}

// What stands in a field and was not taken in yet outlives a repaint.
function unsaidOf(root) {
  const found = new Map();
  for (const node of root.querySelectorAll("input")) if (node.initial !== undefined && node.value !== node.initial && nameOf(node)) found.set(nameOf(node), node.value);
  return found;
}

function giveBack(root, kept) {
  if (!kept.size) return;
  for (const node of root.querySelectorAll("input")) if (kept.has(nameOf(node))) node.value = kept.get(nameOf(node));
}

function paint() {
  const root = panel(), found = pickedFeature(), drawing = toolNow() !== "pick";
  // what a person is typing in is left alone
  const typing = root.contains(document.activeElement) && /^(INPUT|SELECT|TEXTAREA)$/.test(document.activeElement.tagName);
  const member = typing ? document.activeElement.dataset.member : null, label = typing ? document.activeElement.getAttribute("aria-label") : null;
  const at = typing && document.activeElement.selectionStart !== null ? [document.activeElement.selectionStart, document.activeElement.selectionEnd] : null, scroll = byId("side").scrollTop;
  const kept = unsaidOf(root);
  const parts = [el("div", { id: "drawing-by-number" }, drawing ? drawingForm() : null)];
  if (found && !drawing) parts.push(pickedForm(model.picked.kind, found));
  parts.push(el("div", { class: "drop", id: "drop-shapes" }));
  const general = ((model.river && model.river.findings) || []).filter((one) => !/\((.+)\)$/.test(one.where || ""));
  parts.push(...list("runs", "Runs", "None yet. Choose Run above the map and set corners around it."), ...list("spots", "Spots", "None yet. Choose Spot: first the stance, then where the fly lands."), ...list("places", "Places", "None yet. Put-in, take-out, hazards and the flowline."));
  if (general.length) parts.push(el("h3", { text: "What the checker says" }), el("ul", { class: "findings" }, general.map(findingNode)));
  root.replaceChildren(...parts);
  giveBack(root, kept);
  emit("draw-panel");
  if (member || label) {
    const again = [...root.querySelectorAll("input, select, textarea")].find((one) => (member ? one.dataset.member === member : one.getAttribute("aria-label") === label));
    if (again) {
      again.focus({ preventScroll: true });
      if (at && again.setSelectionRange && again.type === "text") again.setSelectionRange(...at);
    }
    byId("side").scrollTop = scroll;
  }
}

export function startShapes() {
  panel().addEventListener("change", (event) => {
    event.target.initial = event.target.value;
  }, true);
  on("changed", paint);
  on("picked", (picked) => {
    if (picked) document.getElementById("tab-draw").click();
    paint();
  });
  let was = "";
  on("drawing", ({ tool, points }) => {
    const now = tool + points.length;
    if (now === was) return;
    was = now;
    paint();
  });
  on("open", ({ kind, id }) => open(kind, id));
  on("moving", ({ kind, feature: moved }) => {
    const node = byId("cast-now");
    if (node && kind === "spots") node.textContent = castWords(...moved.geometry.coordinates);
  });
}
