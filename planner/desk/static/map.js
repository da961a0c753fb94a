// The map: what the folder holds, drawn; what is picked, marked; what lies under it.
import { byId, el, say, svg } from "./dom.js";
import { api } from "./net.js";
import { Sheet, pixelsPerMetre } from "./canvas.js";
import { classOf, known, number, rules, units } from "./units.js";
import { features, flowline, idOf, model, on, pick, ringOf, titleOf } from "./model.js";
import { bankEdges } from "./geo.js";

const L = window.L;
export const map = window.map_desk;
export const latlng = (p) => [p[1], p[0]];
export const lonlat = (at) => [at.lng, at.lat];
const drawn = { runs: new Map(), spots: new Map(), places: new Map() };
const SIGNS = { put_in: "IN", take_out: "OUT", hazard: "!" };
export const hands = { taps: null, hover: null };

export function icon(node, size, anchor) {
  return L.divIcon({ html: node, className: "icon", iconSize: size, iconAnchor: anchor || [size[0] / 2, size[1] / 2] });
}

function fixed(at, node, pane) {
  return L.marker(latlng(at), { icon: icon(node, [0, 0]), interactive: false, keyboard: false, pane: pane || "markerPane" });
}

function isPicked(kind, id) {
  return Boolean(model.picked && model.picked.kind === kind && model.picked.id === id);
}

function drawRun(run, picked) {
  const ring = ringOf(run), parts = [], unsaved = run.unsaved;
  parts.push(L.polygon([ring, ...run.geometry.coordinates.slice(1)].map((part) => part.map(latlng)), {
    color: "#111111", weight: picked ? 3 : 1.5, dashArray: unsaved ? "6 5" : null, fillOpacity: 0.01, pane: "runs",
  }));
  // the wash lies under the cells, so that their classes keep their own colours
  parts.push(L.polygon(ring.map(latlng), { stroke: false, fillColor: "#e4dac6", fillOpacity: 1, interactive: false, pane: "washes" }));
  const banks = run.properties.banks || "none", sides = bankEdges(ring, flowline());
  sides.forEach((side, i) => {
    if (side !== "end" && (banks === "both" || banks === side)) {
      parts.push(L.polyline([latlng(ring[i]), latlng(ring[(i + 1) % ring.length])], { color: "#111111", weight: 6, lineCap: "round", className: "bank", interactive: false, pane: "runs" }));
    }
  });
  const label = el("div", { class: "run-label" + (picked ? " picked" : "") }, el("bdi", { text: titleOf("runs", run) }));
  // above the run's northern end, where it hides neither cells nor casts
  parts.push(fixed(ring.reduce((best, p) => (p[1] > best[1] ? p : best)), label, "labels"));
  return parts;
}

function arrowHead(at, bearing) {
  const node = svg("svg", { viewBox: "-12 -12 24 24", class: "cast-arrow", "aria-hidden": "true" });
  svg("path", { d: "M0 -10 8 8 0 4 -8 8Z" }, svg("g", { transform: "rotate(" + bearing.toFixed(1) + ")" }, node));
  return L.marker(latlng(at), { icon: icon(node, [24, 24]), interactive: false, keyboard: false });
}

export function bearing(from, to) {
  const squeeze = Math.cos((from[1] * Math.PI) / 180);
  return (Math.atan2((to[0] - from[0]) * squeeze, to[1] - from[1]) * 180) / Math.PI;
}

function drawSpot(spot, picked) {
  const [from, to] = spot.geometry.coordinates, line = [latlng(from), latlng(to)];
  const sign = (rules.stances[spot.properties.stance] || ["?"])[0];
  const label = el("span", { class: "spot-name" + (picked ? " picked" : "") }, el("bdi", { text: titleOf("spots", spot) }));
  return [
    L.polyline(line, { color: "#ffffff", weight: picked ? 11 : 7, interactive: false }),
    L.polyline(line, { color: picked ? "#5b1a8b" : "#111111", weight: picked ? 4 : 3, dashArray: spot.unsaved ? "6 5" : null, interactive: false }),
    L.polyline(line, { color: "#111111", opacity: 0.01, weight: 26 }),
    arrowHead(to, bearing(from, to)),
    fixed(from, el("span", { class: "stance", text: sign })),
    fixed(to, label, "labels"),
  ];
}

function drawPlace(place, picked) {
  const kind = place.properties.kind, at = place.geometry.coordinates;
  if (kind === "flowline") {
    const line = at.map(latlng), parts = [
      L.polyline(line, { color: "#1f4e79", weight: picked ? 4 : 2.5, dashArray: "9 7", interactive: false, pane: "flow" }),
      L.polyline(line, { color: "#1f4e79", opacity: 0.01, weight: 26, pane: "flow" }),
    ];
    const step = Math.max(1, Math.floor(at.length / 6));
    for (let i = step; i < at.length; i += step) {
      const arrow = arrowHead(at[i], bearing(at[i - 1], at[i]));
      arrow.options.icon.options.html.classList.add("flow-arrow");
      parts.push(arrow);
    }
    return parts;
  }
  const points = place.geometry.type === "Point" ? [at] : at, parts = [];
  if (points.length > 1) {
    parts.push(L.polyline(points.map(latlng), { color: "#111111", weight: 6, dashArray: "4 5", lineCap: "butt", interactive: false }));
    parts.push(L.polyline(points.map(latlng), { color: "#111111", opacity: 0.01, weight: 26 }));
  }
  const sign = el("b", { text: SIGNS[kind] || "?" });
  const what = kind === "hazard" && place.properties.hazard_kind ? place.properties.hazard_kind + ": " : "";
  const node = el("div", { class: "place place-" + kind + (picked ? " picked" : "") }, sign,
    el("span", { class: "place-name" }, what, el("bdi", { text: titleOf("places", place) })));
  const box = el("span", { class: "tap-box" }, node);
  parts.push(L.marker(latlng(points[Math.floor(points.length / 2)]), { icon: icon(box, [44, 44]), keyboard: false }));
  return parts;
}

const DRAW = { runs: drawRun, spots: drawSpot, places: drawPlace };

// Draws what changed and leaves the rest: two hundred spots stay in place while one is moved.
export function redraw() {
  const flow = JSON.stringify(flowline() || []).length;
  for (const kind of ["runs", "places", "spots"]) {
    const seen = new Set();
    for (const feature of features(kind)) {
      const id = idOf(feature), picked = isPicked(kind, id);
      const key = JSON.stringify([feature, picked, kind === "runs" ? flow : 0, units()]);
      seen.add(id);
      const old = drawn[kind].get(id);
      if (old && old.key === key) continue;
      if (old) old.group.remove();
      let parts = [];
      try {
        parts = DRAW[kind](feature, picked);
      } catch (error) {
        continue; // a feature that cannot be drawn stays in the list, where its message stands
      }
      const group = L.layerGroup(parts).addTo(map);
      for (const part of parts) {
        if (part.options.interactive === false) continue;
        part.on("click", (event) => tapped(event, kind, id));
      }
      drawn[kind].set(id, { key: key, group: group });
    }
    for (const [id, old] of drawn[kind]) {
      if (seen.has(id)) continue;
      old.group.remove();
      drawn[kind].delete(id);
    }
  }
}

// While something is drawn every tap goes to the drawing; else it picks what was tapped.
function tapped(event, kind, id) {
  if (hands.taps) return;
  L.DomEvent.stopPropagation(event);
  if (hands.pickedTap && isPicked(kind, id)) hands.pickedTap(lonlat(event.latlng));
  pick(kind, id);
}

let dotsOf = [];
const dots = new Sheet("dots", (ctx, project, size, at) => {
  const close = at.getZoom() >= 18 && !byId("panel-soundings").hidden, half = at.getZoom() >= 17.5 ? 2 : at.getZoom() >= 16 ? 1.2 : 0.6, edge = half > 1 ? 1 : 0;
  ctx.font = "600 11px system-ui, sans-serif";
  for (const p of dotsOf) {
    const [x, y] = project(p[0], p[1]);
    if (x < -5 || y < -5 || x > size.x + 5 || y > size.y + 5) continue;
    ctx.fillStyle = "#ffffff";
    if (edge) ctx.fillRect(x - half - 1, y - half - 1, 2 * half + 2, 2 * half + 2);
    ctx.fillStyle = "#111111";
    ctx.fillRect(x - half, y - half, 2 * half, 2 * half);
    if (!close || !known(p[2])) continue;
    const words = number(p[2], "depth");
    ctx.strokeStyle = "#ffffff";
    ctx.lineWidth = 3;
    ctx.strokeText(words, x + 5, y + 4);
    ctx.fillText(words, x + 5, y + 4);
  }
});

let ghostsOf = [];
const ghosts = new Sheet("ghosts", (ctx, project) => {
  ctx.lineWidth = 2;
  ctx.strokeStyle = "#5b1a8b";
  for (const p of ghostsOf) {
    const [x, y] = project(p[0], p[1]);
    ctx.beginPath();
    ctx.arc(x, y, 4, 0, 7);
    ctx.stroke();
  }
});

export function showGhosts(points) {
  ghostsOf = points || [];
  ghosts.redraw();
}

let cellsOf = null;
const cells = new Sheet("cells", (ctx, project, size, at) => {
  if (!cellsOf) return;
  const { list, step, by } = cellsOf;
  if (!list.length) return;
  const side = Math.max(2, step * pixelsPerMetre(at, list[0][1])), every = Math.max(1, Math.ceil(26 / side));
  ctx.textAlign = "center";
  ctx.textBaseline = "middle";
  for (const cell of list) {
    const [x, y] = project(cell[0], cell[1]);
    if (x < -side || y < -side || x > size.x + side || y > size.y + side) continue;
    const value = by === "depth" ? cell[2] : cell[4], found = classOf(by, value);
    ctx.fillStyle = found[1];
    ctx.fillRect(x - side / 2, y - side / 2, side + 0.5, side + 0.5);
    const doubt = doubtOf(cell);
    if (doubt > 0) hatch(ctx, x, y, side, found[2], doubt);
    // where a cell is too small for its letter, some of them carry it
    if (Math.round(x / side) % every || Math.round(y / side) % every) continue;
    ctx.font = "700 " + Math.max(11, Math.min(15, side * 0.62)) + "px system-ui, sans-serif";
    ctx.fillStyle = found[2] >= (by === "depth" ? 4 : 3) ? "#ffffff" : "#111111";
    ctx.fillText(found[0], x, y);
  }
});

// Confidence of a cell in three steps: 0 near soundings, 1 between them, 2 far from them.
export function doubtOf(cell) {
  const given = cell[5];
  if (typeof given === "number") return given >= 0.6 ? 0 : given >= 0.3 ? 1 : 2;
  return { sounded: 0, between: 1, guessed: 2 }[given] ?? 2;
}

function hatch(ctx, x, y, side, index, doubt) {
  ctx.strokeStyle = index >= 3 ? "#ffffff" : "#111111";
  ctx.globalAlpha = doubt === 1 ? 0.3 : 0.7;
  ctx.lineWidth = 1;
  ctx.beginPath();
  ctx.moveTo(x - side / 2, y + side / 2);
  ctx.lineTo(x + side / 2, y - side / 2);
  if (doubt === 2) {
    ctx.moveTo(x - side / 2, y - side / 2);
    ctx.lineTo(x + side / 2, y + side / 2);
  }
  ctx.stroke();
  ctx.globalAlpha = 1;
}

export function showCells(list, step, by) {
  cellsOf = list && list.length ? { list: list, step: step || 2, by: by } : null;
  cells.redraw();
}

const marks = L.layerGroup();

// The section under the pointer and the swim of the picked spot: lines that come and go.
const passing = {};
export function showLine(key, line, style) {
  if (passing[key]) passing[key].remove();
  passing[key] = null;
  if (line && line.length > 1) passing[key] = L.polyline(line.map(latlng), { interactive: false, ...style }).addTo(marks);
}

export function fitAll() {
  const points = [];
  for (const run of features("runs")) points.push(...ringOf(run));
  for (const spot of features("spots")) points.push(...spot.geometry.coordinates);
  for (const place of features("places")) points.push(...(place.geometry.type === "Point" ? [place.geometry.coordinates] : place.geometry.coordinates));
  const soundings = (model.river.soundings && model.river.soundings.points) || [];
  if (!points.length) points.push(...soundings);
  if (points.length > 1) map.fitBounds(points.map(latlng), { paddingTopLeft: [70, 40], paddingBottomRight: [50, 40], animate: false, maxZoom: 18 });
  else if (points.length) map.setView(latlng(points[0]), 17, { animate: false });
}

export function fitFeature(feature) {
  const at = feature.geometry.coordinates, kind = feature.geometry.type;
  const points = kind === "Polygon" ? at[0] : kind === "Point" ? [at] : at;
  map.fitBounds(points.map(latlng), { padding: [60, 60], animate: false, maxZoom: 19 });
}

// The longer side of what is seen of a feature [px]
export function seenSize(feature) {
  const at = feature.geometry.coordinates, kind = feature.geometry.type;
  const px = (kind === "Polygon" ? at[0] : kind === "Point" ? [at] : at).map((p) => map.latLngToContainerPoint(latlng(p)));
  const wide = (key) => Math.max(...px.map((q) => q[key])) - Math.min(...px.map((q) => q[key]));
  return Math.max(wide("x"), wide("y"));
}

export function inSight(feature) {
  const at = feature.geometry.coordinates, kind = feature.geometry.type;
  const points = kind === "Polygon" ? at[0] : kind === "Point" ? [at] : at;
  return points.some((p) => map.getBounds().contains(latlng(p)));
}

let underOf = null, underFor = null;
async function drawUnder() {
  const key = JSON.stringify([model.river.under, (model.river.settings || {}).background, features("runs").length]);
  if (key === underFor) return;
  underFor = key;
  if (underOf) underOf.remove();
  underOf = null;
  if (!model.river.under) return;
  const answer = await api("GET", "/api/background").catch((error) => ({ under: null, said: error.given }));
  if (answer.said) say(byId("map-says"), "No background: " + answer.said);
  const under = answer.under;
  if (!under) return;
  if (under.picture) underOf = L.imageOverlay(under.picture, under.corners, { pane: "under", interactive: false, alt: "" }).addTo(map);
  else {
    const style = { pane: "under", color: "#8a6a4a", weight: 1.5, interactive: false };
    underOf = L.layerGroup([
      L.polygon(under.areas || [], { fillColor: "#efe2cf", fillOpacity: 1, ...style }), L.polyline(under.lines || [], style),
    ]).addTo(map);
  }
}

let scale = null;
function drawScale() {
  if (scale) scale.remove();
  scale = L.control.scale({ imperial: units() === "us", metric: units() === "metric", maxWidth: 140 }).addTo(map);
}

export function startMap() {
  for (const [pane, z] of [["under", 250], ["washes", 280], ["cells", 300], ["flow", 390], ["runs", 400], ["dots", 420], ["ghosts", 430], ["labels", 590]]) {
    map.createPane(pane).style.zIndex = z;
    map.getPane(pane).classList.add(pane + "-pane");
  }
  for (const sheet of [cells, dots, ghosts]) sheet.addTo(map);
  marks.addTo(map);
  map.setMinZoom(3);
  map.setMaxZoom(22);
  map.on("zoomend", () => byId("map-frame").classList.toggle("far", map.getZoom() < 16));
  map.on("zoomend", () => byId("map-frame").classList.toggle("farther", map.getZoom() < 14.5));
  map.on("click", () => {
    if (!hands.taps) pick(null);
  });
  const node = byId("map_desk");
  node.setAttribute("role", "application");
  node.setAttribute("aria-label", "Map for drawing. With a tool chosen, the arrow keys move a cross and the space bar sets a point. Every point can also be typed beside the map.");
  on("tab", () => dots.redraw());
  on("changed", redraw);
  on("picked", redraw);
  on("river", () => {
    dotsOf = (model.river.soundings && model.river.soundings.points) || [];
    dots.redraw();
    drawUnder();
    drawScale();
  });
  new ResizeObserver(() => map.invalidateSize({ animate: false, pan: false })).observe(byId("map-frame"));
}
