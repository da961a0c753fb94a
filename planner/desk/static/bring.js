// Files brought in: shapes are listed with a guess at what each is and taken one by one or all; soundings go to theirs.
import { ask, byId, button, el, name, select, textOf, toast } from "./dom.js";
import { latlng, map } from "./map.js";
import { emit, feature, freshId, freshName, idOf, model, on, titleOf } from "./model.js";
import { runAt } from "./draw.js";
import { edit } from "./saving.js";
import { api, query } from "./net.js";
import { rules, show } from "./units.js";
import { lineLength } from "./geo.js";

const L = window.L;
const ROLES = {
  Polygon: [["run", "run"]],
  LineString: [["spot", "spot"], ["flowline", "flowline"], ["hazard", "hazard"]],
  Point: [["put_in", "put-in"], ["take_out", "take-out"], ["hazard", "hazard"]],
};
const SHAPES = /\.(geojson|json|gpx|kml|gpkg)$/i, ALL = /\.(geojson|json|gpx|kml|gpkg|csv|txt|tsv|nmea|log)$/i;
let found = null;
const outline = L.layerGroup();

function paintOutlines() {
  outline.addTo(map).clearLayers();
  if (!found) return;
  for (const one of found.features) {
    const at = one.geometry.coordinates, style = { color: "#5b1a8b", weight: 3, dashArray: "3 6", fill: false, interactive: false };
    if (one.geometry.type === "Polygon") L.polygon(at.map((ring) => ring.map(latlng)), style).addTo(outline);
    else if (one.geometry.type === "LineString") L.polyline(at.map(latlng), style).addTo(outline);
    else L.circleMarker(latlng(at), { ...style, radius: 9 }).addTo(outline);
  }
}

function bounds() {
  const points = found.features.flatMap((one) => (one.geometry.type === "Point" ? [one.geometry.coordinates] : one.geometry.type === "Polygon" ? one.geometry.coordinates[0] : one.geometry.coordinates));
  if (points.length) map.fitBounds(points.map(latlng), { padding: [40, 40], animate: false, maxZoom: 19 });
}

export async function bringShapes(file) {
  let answer = null;
  try {
    answer = await api("POST", "/api/import/shapes" + query({ name: file.name }), await file.arrayBuffer(), { bytes: true });
  } catch (error) {
    toast(file.name + ": " + textOf(error));
    return;
  }
  const soundings = answer.features.filter((one) => one.role === "sounding");
  found = { name: file.name, file: file, soundings: soundings.length, dropped: answer.dropped || [], features: answer.features.filter((one) => one.role !== "sounding" && ROLES[one.geometry.type]) };
  if (!found.features.length && soundings.length) {
    found = null;
    emit("sound-file", file);
    return;
  }
  byId("tab-draw").click();
  paint();
  paintOutlines();
  bounds();
  const head = byId("brought-h");
  if (head) head.focus();
}

function made(one, role) {
  const given = one.properties || {}, title = String(given.name || "").trim();
  const own = {};
  for (const [key, value] of Object.entries(given)) if (!["id", "name", "kind", "role"].includes(key) && ["string", "number", "boolean"].includes(typeof value)) own[key] = value;
  if (role === "run") {
    const name = freshName("runs", title || "Run");
    if (!rules.banks.includes(own.banks)) own.banks = "none";
    return ["runs", { type: "Feature", properties: { ...own, id: freshId("runs", given.id || name), name: name }, geometry: one.geometry }];
  }
  if (role === "spot") {
    const at = one.geometry.coordinates, ends = [at[0], at[at.length - 1]], run = runAt(ends[1]);
    const name = freshName("spots", title || "Cast");
    if (!rules.stances[own.stance]) own.stance = "wading";
    return ["spots", { type: "Feature", properties: { ...own, id: freshId("spots", given.id || name), name: name, run: feature("runs", own.run) ? own.run : run ? idOf(run) : "" }, geometry: { type: "LineString", coordinates: ends } }];
  }
  const name = freshName("places", title || { put_in: "Put-in", take_out: "Take-out", hazard: "Hazard", flowline: "Flowline" }[role]);
  const properties = { ...own, id: freshId("places", given.id || name), kind: role, name: name };
  if (role === "hazard" && !properties.hazard_kind) properties.hazard_kind = "other";
  return ["places", { type: "Feature", properties: properties, geometry: one.geometry }];
}

async function take(list) {
  const by = { runs: [], places: [], spots: [] };
  // runs first, one at a time: a spot's run is the one that its landing lies in
  for (const role of ["run", "flowline", "put_in", "take_out", "hazard", "spot"]) {
    for (const one of list) {
      if (one.role !== role) continue;
      let next = made(one, role);
      if (role === "flowline") {
        const old = [...(model.river.places.features || []), ...by.places].find((place) => place.properties.kind === "flowline");
        if (old) {
          const answer = await ask("A flowline is drawn already", ["A river has one flowline. The one in the file is " + show(lineLength(one.geometry.coordinates), "length") + " long."], [["take", "Take the file’s instead"], [null, "Keep mine"]]);
          if (answer !== "take") continue;
          next = ["places", { ...next[1], properties: { ...next[1].properties, id: idOf(old), name: titleOf("places", old) } }];
          by.places = by.places.filter((place) => idOf(place) !== idOf(old));
        }
      }
      const ids = new Set(by[next[0]].map(idOf));
      let id = idOf(next[1]);
      for (let i = 2; ids.has(id); i += 1) id = idOf(next[1]) + "-" + i;
      next[1].properties.id = id;
      by[next[0]].push(next[1]);
      if (role === "run") {
        edit("runs", [next[1]], [], "Took " + titleOf("runs", next[1]) + " from " + found.name);
        by.runs.pop();
      }
    }
  }
  for (const kind of ["places", "spots"]) if (by[kind].length) edit(kind, by[kind], [], "Took " + by[kind].length + " from " + found.name);
  const gone = new Set(list);
  found.features = found.features.filter((one) => !gone.has(one));
  if (!found.features.length && !found.soundings) found = null;
  paint();
  paintOutlines();
  toast(list.length + (list.length === 1 ? " shape" : " shapes") + " taken in.");
}

function row(one) {
  const roles = ROLES[one.geometry.type], words = (one.properties && one.properties.name) || one.geometry.type;
  if (!roles.some((role) => role[0] === one.role)) one.role = roles[0][0];
  const pick = select(one.role, roles, { "aria-label": "Take " + words + " as" });
  pick.addEventListener("change", () => {
    one.role = pick.value;
  });
  const at = one.geometry.coordinates;
  const size = one.geometry.type === "Point" ? at[1].toFixed(5) + ", " + at[0].toFixed(5) : show(lineLength(one.geometry.type === "Polygon" ? at[0] : at), "length");
  return el("li", {}, el("span", {}, name(words), el("span", { class: "hint", text: " " + size })), pick,
    button("Take", () => take([one]), { "aria-label": "Take " + words }),
    button("Leave", () => {
      found.features = found.features.filter((other) => other !== one);
      if (!found.features.length) found = null;
      paint();
      paintOutlines();
    }, { class: "quiet", "aria-label": "Leave " + words + " out" }));
}

export function dropList(dropped) {
  if (!dropped.length) return null;
  return el("details", { class: "folded" }, el("summary", { text: dropped.length + (dropped.length === 1 ? " reason" : " reasons") + " for what is not taken" }),
    el("ul", {}, dropped.map((one) => el("li", {}, el("bdi", { text: String(one.where ?? (one.line ? "line " + one.line : "")) }), (one.where || one.line) ? ": " : "", one.why, one.count > 1 ? " (" + one.count + " times)" : ""))));
}

// A button that opens the chooser, and the place that takes a drop.
export function chooser(words, hint, accept, take, id) {
  const hidden = el("input", { type: "file", accept: accept, class: "hide", tabindex: "-1", "aria-hidden": "true", id: id });
  hidden.addEventListener("change", () => {
    if (hidden.files.length) take(hidden.files[0]);
    hidden.value = "";
  });
  return el("div", { class: "drop-inside" }, button(words, () => hidden.click()), hidden, el("span", { class: "hint", text: hint }));
}

function paint() {
  const root = byId("drop-shapes");
  if (!root) return;
  const parts = [chooser("Bring in a file of shapes", "GeoJSON, GPX, KML or GeoPackage; or drop it anywhere on the desk.", ".geojson,.json,.gpx,.kml,.gpkg", bringFile, "file-shapes")];
  if (found) {
    parts.push(el("section", { class: "picked-form", "aria-label": "Found in the file" },
      el("h3", { id: "brought-h", tabindex: "-1" }, "Found in ", name(found.name)),
      found.features.length ? el("ul", { class: "brought" }, found.features.slice(0, 200).map(row)) : el("p", { text: "Nothing that can be drawn." }),
      found.features.length > 200 ? el("p", { class: "hint", text: found.features.length - 200 + " more are taken with “Take all”." }) : null,
      found.soundings ? el("p", {}, found.soundings + " soundings are in it. ", button("Look at the soundings", () => emit("sound-file", found.file))) : null,
      dropList(found.dropped),
      el("div", { class: "row" }, found.features.length ? button("Take all", () => take(found.features.slice()), { id: "take-all" }) : null,
        button("Leave the rest", () => {
          found = null;
          paint();
          paintOutlines();
        }, { class: "quiet" }))));
  }
  root.replaceChildren(...parts);
}

export function bringFile(file) {
  if (SHAPES.test(file.name) && byId("panel-soundings").hidden) bringShapes(file);
  else if (ALL.test(file.name)) emit("sound-file", file);
  else toast(file.name + ": this kind of file is not read. Drawings: GeoJSON, GPX, KML, GeoPackage. Soundings: CSV, GPX, GeoJSON, NMEA.");
}

export function startBring() {
  on("draw-panel", paint);
  let over = 0;
  const veil = el("div", { class: "veil", hidden: true }, el("p", { text: "Drop it: nothing is written before you say so." }));
  document.body.append(veil);
  document.addEventListener("dragenter", (event) => {
    if (![...event.dataTransfer.types].includes("Files")) return;
    event.preventDefault();
    over += 1;
    veil.hidden = false;
  });
  document.addEventListener("dragover", (event) => {
    if ([...event.dataTransfer.types].includes("Files")) event.preventDefault();
  });
  document.addEventListener("dragleave", () => {
    over = Math.max(0, over - 1);
    veil.hidden = over === 0;
  });
  document.addEventListener("drop", (event) => {
    event.preventDefault();
    over = 0;
    veil.hidden = true;
    for (const file of event.dataTransfer.files) bringFile(file);
  });
}

