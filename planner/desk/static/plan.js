// The plan: of the picked spot, beside the map and again after each edit; of the whole day, with its page.
import { byId, button, debounce, el, field, input, latest, name, say, textOf } from "./dom.js";
import { showLine } from "./map.js";
import { feature, features, idOf, model, on, pickedFeature, titleOf } from "./model.js";
import { markOf, reasonList, setCaution, forgetCautions } from "./caution.js";
import { noteRead } from "./water.js";
import { api, query } from "./net.js";
import { known, percent, seconds, show, span } from "./units.js";
import { plane } from "./geo.js";

const asked = { day: "", from: "08:00", to: "16:00" };
let editedAt = null, again = 0, day = null, watching = 0, stamp = 0, last = null;

function window_() {
  return { day: asked.day || undefined, from: asked.from || undefined, to: asked.to || undefined, level: model.level || undefined };
}

function rigWords(rig) {
  return el("span", {}, el("b", { class: "rig-line" }, name(rig.line)), ", ", el("b", { class: "rig-fly" }, name(rig.fly)));
}

// A rig on one line of large words, and what it does in numbers
function rigBlock(rig) {
  const rows = [];
  const add = (words, value) => rows.push(el("dt", { text: words }), el("dd", { text: value }));
  add("Count down", seconds(rig.countdown_from_s, rig.countdown_to_s) + (rig.countdown_mode ? ", " + { held: "line held", fed: "line fed", mended: "line mended up-current" }[rig.countdown_mode] : ""));
  if (known(rig.leader_m)) add("Leader", "about " + show(rig.leader_m, "depth") + ", not the box’s own");
  if (known(rig.strip_m_s)) add("Strip", show(rig.strip_m_s, "strip"));
  if (known(rig.lift_rod_at_m)) add("Lift the rod tip at", show(rig.lift_rod_at_m, "length"));
  if (rig.fly_depth_m) add("Fly’s depth", span(rig.fly_depth_m[0], rig.fly_depth_m[2], "depth"));
  add("Seconds in the hold band", known(rig.band_time_s) ? "about " + Math.round(rig.band_time_s) + " s" : "unknown");
  add("Chance to hang", percent(rig.hang_chance));
  add("Chance to touch", percent(rig.touch_chance));
  return [el("p", { class: "rig" }, rigWords(rig)), el("dl", { class: "pairs" }, rows), rig.why ? el("p", {}, el("bdi", { text: rig.why })) : null];
}

function paintSpot(answer, spot, wrong) {
  const box = byId("spot-plan");
  if (!box) return;
  if (wrong) {
    box.replaceChildren(el("p", { class: "hint", text: wrong }));
    return;
  }
  const record = answer.spot || answer, rig = record.best;
  const parts = [el("p", { class: "plan-caution" }, markOf(answer.caution || record.caution))];
  const reasons = reasonList(answer.caution || record.caution, 2);
  if (reasons.length) parts.push(el("ul", { class: "reasons" }, reasons));
  parts.push(el("p", { class: "figures", text: "Here " + span(record.depth_low_m, record.depth_high_m, "depth") + " deep; current " + (known(record.velocity_low_m_s) ? span(record.velocity_low_m_s, record.velocity_high_m_s, "speed") : "not known") + (known(record.stance_depth_m) && record.stance === "wading" ? "; " + show(record.stance_depth_m, "depth") + " at the stance" : "") + "." }));
  if (rig) parts.push(...rigBlock(rig));
  else {
    parts.push(el("p", { class: "rig", text: "Nothing in your box reaches here." }), record.none_because ? el("p", {}, el("bdi", { text: record.none_because })) : null);
    if (record.compromise) parts.push(el("h4", { text: "The best compromise" }), ...rigBlock(record.compromise));
  }
  if (record.next_best) parts.push(el("details", { class: "folded" }, el("summary", { text: "Next best" }), ...rigBlock(record.next_best).filter(Boolean)));
  const limits = [...new Set(record.limits || [])];
  if (limits.length) parts.push(el("details", { class: "folded" }, el("summary", { text: "What weakens this (" + limits.length + ")" }), el("ul", {}, limits.map((limit) => el("li", { text: limit })))));
  parts.push(el("p", { class: "hint", id: "spot-plan-note", text: answer.complete === false ? "A quick look at " + (answer.rigs ? answer.rigs.asked + " of " + answer.rigs.in_the_box : "some of your") + " rigs; the whole box follows." : "Asked of the whole box" + (answer.arrival ? ", for " + answer.arrival : "") + "." }));
  box.replaceChildren(...parts.filter(Boolean));
  box.dataset.complete = String(answer.complete !== false);
  drawSwim(record, spot);
}

// The swim, along the cast by its distance from the rod tip; its broad part is in the hold band
function drawSwim(record, spot) {
  const swim = record.swim, [stance, landing] = spot.geometry.coordinates, keys = ["swim", "band"];
  for (const key of keys) showLine(key, null);
  if (!swim || !swim.x_m || swim.x_m.length < 2) return;
  const flat = plane(stance), to = flat.to(landing), far = Math.hypot(...to) || 1;
  const at = (m) => flat.from([(to[0] * m) / far, (to[1] * m) / far]);
  showLine("swim", swim.x_m.map(at), { color: "#5b1a8b", weight: 2.5 });
  const held = swim.x_m.map((m, k) => {
    const above = known(swim.bed_depth_m[k]) ? swim.bed_depth_m[k] - swim.depth_m[k] : null;
    return above !== null && above >= record.hold_low_m && above <= record.hold_high_m ? at(m) : null;
  }).filter(Boolean);
  if (held.length > 1) showLine("band", held, { color: "#5b1a8b", weight: 9, opacity: 0.85, lineCap: "butt" });
}

// All that an answer depends on: the spot as drawn, the day and level, and a count of all other changes.
function keyOf(spot) {
  return JSON.stringify([spot.properties, spot.geometry, window_(), stamp]);
}

// From the end of an edit to its answer in sight [ms], for whoever measures the desk
function took(spot) {
  const box = byId("spot-plan"), now = pickedFeature();
  if (editedAt === null || !box || !now || JSON.stringify(now.geometry) !== JSON.stringify(spot.geometry)) return;
  performance.measure("edit to plan", { start: editedAt, end: performance.now() });
  editedAt = null;
}

const fetchSpot = latest(async (spot) => {
  const id = idOf(spot), key = keyOf(spot);
  if (last && last.id === id) {
    paintSpot(last.answer, spot);
    if (last.key === key) {
      took(spot);
      return;
    }
  }
  clearTimeout(again);
  try {
    const given = { type: "Feature", properties: { ...spot.properties }, geometry: spot.geometry };
    for (const key of Object.keys(given.properties)) if (given.properties[key] === null) delete given.properties[key];
    const answer = await api("POST", "/api/plan/spot", { spot: given, ...window_() });
    if (!model.picked || model.picked.kind !== "spots" || model.picked.id !== id) return;
    last = { id: id, key: key, answer: answer };
    paintSpot(answer, spot);
    took(spot);
    if (answer.level) noteRead(answer.level);
    setCaution("spot", answer.caution || (answer.spot || answer).caution, titleOf("spots", spot));
    if (answer.complete === false) follow(spot, 0);
  } catch (error) {
    last = null;
    if (!model.picked || model.picked.id !== id) return;
    paintSpot(null, spot, error.status === 404 ? "The plan of one spot is not there yet." : textOf(error));
    setCaution("spot", null);
    for (const key of ["swim", "band"]) showLine(key, null);
  }
});

// The quick answer gives way to that of the whole box when it is there.
function follow(spot, tries) {
  clearTimeout(again);
  if (tries > 40) return;
  again = setTimeout(async () => {
    const now = pickedFeature();
    if (!now || model.hands || model.picked.kind !== "spots" || JSON.stringify(now.geometry) !== JSON.stringify(spot.geometry)) return;
    try {
      const given = { type: "Feature", properties: { ...spot.properties }, geometry: spot.geometry };
      const answer = await api("POST", "/api/plan/spot", { spot: given, ...window_() });
      if (!model.picked || model.picked.id !== idOf(spot)) return;
      if (answer.complete === false) follow(spot, tries + 1);
      else {
        last = { id: idOf(spot), key: keyOf(spot), answer: answer };
        paintSpot(answer, spot);
        setCaution("spot", answer.caution, titleOf("spots", spot));
      }
    } catch (error) {
      say(byId("spot-plan-note"), "The whole box could not be asked: " + textOf(error));
    }
  }, tries < 4 ? 900 : 2500);
}

function planPicked() {
  const spot = pickedFeature();
  if (!spot || model.picked.kind !== "spots") {
    for (const key of ["swim", "band"]) showLine(key, null);
    setCaution("spot", null);
    return;
  }
  if (!spot.properties.run || !feature("runs", spot.properties.run)) {
    paintSpot(null, spot, "Choose the run that this spot fishes; then its plan follows.");
    return;
  }
  const box = byId("spot-plan");
  if (box && !box.childNodes.length) box.append(el("p", { class: "hint", text: "Computing the plan of this spot." }));
  fetchSpot(spot);
}

// Tomorrow by the desk's clock; left to the desk where it does not tell
function tomorrow() {
  const now = String(model.river.now || "").slice(0, 10);
  if (!/^\d{4}-\d\d-\d\d$/.test(now)) return "";
  return new Date(Date.parse(now + "T00:00:00Z") + 86400000).toISOString().slice(0, 10);
}

// The day's caution without its plan: gauge, weather and water. Asked anew with each day, level and change.
const fetchDay = latest(async () => {
  const was = JSON.stringify(window_());
  try {
    const answer = await api("GET", "/api/caution" + query(window_()));
    if (JSON.stringify(window_()) !== was) return;
    setCaution("day", answer.caution, "the day");
  } catch (error) {
    if (JSON.stringify(window_()) === was) setCaution("day", null);
  }
});
const dayLater = debounce(600, () => fetchDay());
// after an edit only when the hand has rested: the edited spot comes first
const dayAtRest = debounce(3000, () => fetchDay());

async function startDay() {
  day = { state: "running" };
  paintDay();
  try {
    await api("POST", "/api/plan/day", window_());
    watch();
  } catch (error) {
    day = { state: "failed", said: textOf(error) };
    paintDay();
  }
}

function watch() {
  clearTimeout(watching);
  watching = setTimeout(async () => {
    try {
      day = await api("GET", "/api/plan/day");
    } catch (error) {
      day = error.status === 0 ? { state: "running" } : { state: "failed", said: textOf(error) };
    }
    paintDay();
    if (day.state === "running") watch();
  }, 700);
}

function failedWords(given) {
  const error = given.error || given;
  return given.said || (error.given ? textOf({ given: error.given, need: error.need, next: error.next_step }) : "the plan failed");
}

function paintDay() {
  const box = byId("day-result");
  if (!box) return;
  if (!day || day.state === "none") {
    box.replaceChildren();
    return;
  }
  if (day.state === "running") {
    box.replaceChildren(el("p", { role: "status", text: "Planning the day: every spot, line, fly and level. The first time takes longest." }), el("progress", { "aria-label": "Planning" }));
    return;
  }
  if (day.state === "failed") {
    box.replaceChildren(el("p", { class: "notice", role: "alert", text: failedWords(day) }));
    return;
  }
  const plan = day.plan || {};
  setCaution("plan", plan.caution, "the plan");
  box.replaceChildren(
    el("p", { class: "plan-caution" }, markOf(plan.caution)),
    el("ul", { class: "reasons" }, reasonList(plan.caution, 2)),
    el("p", {}, el("a", { class: "as-button", id: "open-page", href: "/plan.html", target: "_blank", rel: "noopener", text: "Open the page for the river" })),
    el("p", { class: "hint", text: "Save it to the phone: it works there without a signal." }),
    el("ol", { class: "day-spots" }, (plan.spots || []).map((spot) => el("li", {}, el("b", {}, name(spot.name || spot.id)), ": ",
      spot.best ? el("span", {}, rigWords(spot.best), ", count " + seconds(spot.best.countdown_from_s, spot.best.countdown_to_s)) : "nothing in the box reaches here"))));
}

function paint() {
  const root = byId("panel-plan");
  if (!asked.day) asked.day = tomorrow();
  const fields = { day: input(asked.day, { type: "date", id: "plan-day" }), from: input(asked.from, { type: "time", id: "plan-from" }), to: input(asked.to, { type: "time", id: "plan-to" }) };
  for (const key in fields) {
    fields[key].addEventListener("change", () => {
      asked[key] = fields[key].value;
      forgetCautions();
      fetchDay();
      planPicked();
    });
  }
  root.replaceChildren(
    el("div", { class: "three" }, field(asked.day ? "Day" : "Day (empty: tomorrow)", fields.day), field("Put in at", fields.from), field("Take out at", fields.to)),
    el("p", { class: "hint", text: features("spots").length + (features("spots").length === 1 ? " spot" : " spots") + ". A level set under “What if the gauge reads” is planned with; else what is expected." }),
    button("Plan the whole day", startDay, { id: "plan-day-go", class: "strong" }),
    el("div", { id: "day-result" }));
  paintDay();
}

export function startPlan() {
  let was = null;
  on("edit", (kind) => {
    if (kind !== "spots") stamp += 1;
  });
  on("river", () => {
    stamp += 1;
    dayLater();
    const now = JSON.stringify([model.river.folder_key, features("spots").length, model.river.now]);
    if (now !== was) {
      was = now;
      paint();
    }
  });
  on("draw-panel", () => {
    // the panel was drawn anew: its plan is asked again, and the one shown stays until the answer comes
    planPicked();
  });
  on("edited", ({ at }) => {
    editedAt = at;
  });
  // while a point is held still on its way its plan is shown; a quick drag is asked once, at its end
  const still = debounce(120, (moved) => {
    if (model.hands) fetchSpot(moved);
  });
  on("moving", ({ kind, feature: moved }) => {
    if (kind === "spots") still(moved);
  });
  on("level", () => {
    planPicked();
    dayLater();
  });
  on("saved", () => {
    planPicked();
    dayAtRest();
  });
  api("GET", "/api/plan/day").then((found) => {
    if (!found || found.state === "none" || !found.state) return;
    day = found;
    paintDay();
    if (day.state === "running") watch();
  }).catch(() => null);
}

