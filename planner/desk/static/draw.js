// The tools: each tap or press of the space bar sets a point; what is being drawn is shown with its length and angle.
import { byId, button, el, say, speak, toast } from "./dom.js";
import { hands, latlng, map, redraw } from "./map.js";
import { emit, feature, features, flowline, freshId, freshName, idOf, model, on, pick, pickedFeature, polygon, ringOf, titleOf } from "./model.js";
import { bankEdges, castAngle, crossesItself, distance, inside, lineLength, middle, onLine, round, splitRing } from "./geo.js";
import { clearHandles, showHandles } from "./handles.js";
import { edit } from "./saving.js";
import { showSnap, snapped } from "./snap.js";
import { rules, show } from "./units.js";

const L = window.L;
let tool = "pick", points = [], at = null, byKey = null;
const live = L.layerGroup();

const SHAPES = {
  run: { least: 3, most: Infinity, closed: true }, spot: { least: 2, most: 2 }, flowline: { least: 2, most: Infinity },
  hazard: { least: 1, most: 2 }, put_in: { least: 1, most: 1 }, take_out: { least: 1, most: 1 },
  split: { least: 2, most: 2 }, sound: { least: 1, most: 1 },
};
const FIRST = {
  run: "Set the corners of the run, around it.", spot: "Set the stance: where the rod tip is.",
  flowline: "Set points down the middle of the river, downstream.", hazard: "Set the hazard. A second point makes it a line.",
  put_in: "Set the put-in.", take_out: "Set the take-out.", split: "Set one end of the cut, outside the run.",
  sound: "Set where the depth was sounded.",
};

export function toolNow() {
  return tool;
}

export function drawnPoints() {
  return points;
}

// "52.5 ft, 75° from downstream", or what is not known of it
export function castWords(stance, landing) {
  const angle = castAngle(stance, landing, flowline());
  const long = distance(stance, landing), far = long > 1.25 * rules.cast_m[1] ? " (ordinary casts are about " + show(rules.cast_m[1], "length") + ")" : "";
  return show(long, "length") + far + ", " + (Number.isFinite(angle) ? Math.round(angle) + "° from straight downstream" : "angle not known: no flowline");
}

function lengthWords(all) {
  if (tool === "spot" || tool === "split") return all.length > 1 ? (tool === "spot" ? castWords(all[0], all[1]) : show(distance(all[0], all[1]), "length")) : "";
  if (tool === "run" && all.length > 2) return show(lineLength([...all, all[0]]), "length") + " around";
  return all.length > 1 ? show(lineLength(all), "length") : "";
}

function paintLive() {
  live.clearLayers();
  const all = at && points.length ? [...points, at] : points;
  if (!all.length) return;
  const line = all.map(latlng), closed = SHAPES[tool] && SHAPES[tool].closed;
  if (line.length > 1) {
    L.polyline(line, { color: "#ffffff", weight: 7, interactive: false }).addTo(live);
    L.polyline(line, { color: "#5b1a8b", weight: 3, interactive: false }).addTo(live);
  }
  if (closed && line.length > 2) L.polyline([line[line.length - 1], line[0]], { color: "#5b1a8b", weight: 2, dashArray: "4 6", interactive: false }).addTo(live);
  points.forEach((p, i) => L.circleMarker(latlng(p), { radius: i === 0 && closed ? 9 : 6, color: "#5b1a8b", weight: 3, fillColor: "#ffffff", fillOpacity: 1, interactive: false }).addTo(live));
}

function paintDoing() {
  const box = byId("doing"), drawing = tool !== "pick";
  box.hidden = !drawing;
  if (!drawing) return;
  const shape = SHAPES[tool], words = lengthWords(at && points.length ? [...points, at] : points);
  let next = FIRST[tool];
  if (points.length) {
    if (tool === "spot") next = "Set the landing: where the fly comes down.";
    else if (tool === "split") next = "Set the other end of the cut, beyond the run.";
    else if (points.length < shape.least) next = "Set " + (shape.least - points.length) + " more.";
    else next = tool === "run" ? "Set more corners, or finish: the first corner closes it." : "Set more points, or finish.";
  }
  say(byId("doing-next"), next);
  say(byId("doing-size"), words);
  byId("doing-finish").disabled = points.length < shape.least;
  byId("doing-less").disabled = points.length === 0;
  const pointer = byId("pointer");
  pointer.hidden = !words;
  say(pointer, words);
}

function paint() {
  paintLive();
  paintDoing();
  emit("drawing", { tool: tool, points: points });
}

export function addPoint(p) {
  const shape = SHAPES[tool];
  if (!shape) return;
  points = [...points, round(p)];
  at = null;
  speak("Point " + points.length + " set. " + lengthWords(points));
  if (points.length >= shape.most) finish();
  else paint();
}

export function replacePoints(list) {
  points = list.map(round);
  at = null;
  paint();
}

export function takeBack() {
  points = points.slice(0, -1);
  at = null;
  paint();
}

export function setTool(next) {
  tool = next;
  points = [];
  at = null;
  byKey = null;
  for (const one of document.querySelectorAll("[data-tool]")) one.setAttribute("aria-pressed", String(one.dataset.tool === tool));
  const drawing = tool !== "pick";
  hands.taps = drawing ? "draw" : null;
  byId("map-frame").classList.toggle("drawing", drawing);
  if (tool === "split" && (!model.picked || model.picked.kind !== "runs")) {
    toast("Pick the run to split first, then choose Split.");
    setTool("pick");
    return;
  }
  if (drawing) {
    clearHandles();
    speak(FIRST[tool]);
    map.keyboard.disable();
  } else {
    map.keyboard.enable();
    showSnap(null);
    cross(false);
  }
  paint();
  if (!drawing) handlesOfPicked();
}

// Which run a cast fishes: the one its landing lies in, else the nearest.
export function runAt(p) {
  let best = null;
  for (const run of features("runs")) {
    const ring = ringOf(run);
    if (inside(p, ring)) return run;
    const far = onLine(p, [...ring, ring[0]]).far;
    if (!best || far < best.far) best = { far: far, run: run };
  }
  return best ? best.run : null;
}

function waterlineNow() {
  return new Date().toISOString().slice(0, 19) + "Z";
}

// A cast that no rod makes is not saved: the checker would stop every plan of the river for it.
export function castFits(list) {
  const long = distance(list[0], list[1]), [least, , most] = rules.cast_m;
  if (long >= least && long <= most) return true;
  toast(long < least ? "Stance and landing are nearly the same point. Draw the cast again." : "That cast would be " + show(long, "length") + " long, and " + show(most, "length") + " is the most. Zoom in and draw it again.");
  return false;
}

export function make(kind, list, given) {
  if (kind === "run") {
    if (crossesItself(list)) {
      toast("The outline crosses itself. Take a point back, or set the corners in order around the run.");
      return null;
    }
    const name = freshName("runs", "Run " + (features("runs").length + 1));
    return ["runs", { type: "Feature", properties: { id: freshId("runs", name), name: name, banks: "none", waterline_at: waterlineNow(), ...given }, geometry: polygon(list) }];
  }
  if (kind === "spot") {
    if (!castFits(list)) return null;
    const run = runAt(list[1]), name = freshName("spots", run ? titleOf("runs", run) + " cast" : "Cast");
    return ["spots", { type: "Feature", properties: { id: freshId("spots", name), run: run ? idOf(run) : "", name: name, stance: lastStance, ...given }, geometry: { type: "LineString", coordinates: list } }];
  }
  const words = { put_in: "Put-in", take_out: "Take-out", hazard: "Hazard", flowline: "Flowline" }[kind];
  const old = kind === "flowline" ? features("places").find((place) => place.properties.kind === "flowline") : null;
  const name = old ? titleOf("places", old) : freshName("places", words);
  const properties = { id: old ? idOf(old) : freshId("places", name), kind: kind, name: name, ...given };
  if (kind === "hazard" && !properties.hazard_kind) properties.hazard_kind = "other";
  const geometry = list.length === 1 ? { type: "Point", coordinates: list[0] } : { type: "LineString", coordinates: list };
  return ["places", { type: "Feature", properties: properties, geometry: geometry }];
}

let lastStance = "wading";
export function rememberStance(stance) {
  lastStance = stance;
}

export function finish(given) {
  const shape = SHAPES[tool], kind = tool, list = points;
  if (!shape || list.length < shape.least) return;
  if (kind === "split") {
    splitPicked((ring) => splitRing(ring, list[0], list[1]));
    return;
  }
  if (kind === "sound") {
    setTool("pick");
    emit("sound-at", list[0]);
    return;
  }
  const made = make(kind, list, given);
  if (!made) {
    // the last point goes back, the rest stays to be drawn on
    if (points.length >= shape.most) points = points.slice(0, -1);
    paint();
    return;
  }
  const [where, one] = made, again = feature(where, idOf(one)) !== null;
  edit(where, [one], [], (again ? "Drew " : "Added ") + titleOf(where, one) + (again ? " again" : ""));
  speak(titleOf(where, one) + " drawn.");
  // the tool stays for the next one, except where one is enough
  setTool(kind === "spot" || kind === "hazard" ? kind : "pick");
  pick(where, idOf(one));
  emit("drawn", { kind: where, id: idOf(one) });
}

export function splitPicked(cut) {
  const run = model.picked && model.picked.kind === "runs" ? pickedFeature() : null;
  if (!run) return;
  const parts = cut(ringOf(run));
  if (!parts || run.geometry.coordinates.length > 1) {
    toast(parts ? "A run with an island cannot be split here." : "The cut must cross the outline of the run exactly twice. Draw it from one bank over to the other.");
    setTool("pick");
    return;
  }
  // the upstream part keeps the id, so that what was logged there stays with it
  const flow = flowline();
  if (flow) parts.sort((a, b) => along(middle(a), flow) - along(middle(b), flow));
  const name = freshName("runs", titleOf("runs", run) + ", lower"), id = freshId("runs", name);
  const upper = { ...run, geometry: polygon(parts[0]) };
  const lower = { type: "Feature", properties: { ...run.properties, id: id, name: name }, geometry: polygon(parts[1]) };
  delete upper.unsaved;
  const goes = features("spots").filter((spot) => spot.properties.run === idOf(run) && inside(spot.geometry.coordinates[1], parts[1]));
  edit("runs", [upper, lower], [], "Split " + titleOf("runs", run));
  if (goes.length) edit("spots", goes.map((spot) => ({ ...spot, properties: { ...spot.properties, run: id } })), [], "Gave " + goes.length + " spots to " + name);
  setTool("pick");
  pick("runs", id);
  speak("Run split in two.");
}

function along(p, line) {
  const found = onLine(p, line);
  return lineLength(line.slice(0, found.i + 1)) + distance(line[found.i], found.at);
}

// Handles of the picked feature; a drag is one edit when it ends, and is shown while it lasts.
const moving = L.layerGroup();
export function handlesOfPicked(focus) {
  moving.clearLayers();
  const found = pickedFeature();
  if (tool !== "pick" || !found || hands.banks || !byId("panel-water").hidden) {
    clearHandles();
    return;
  }
  const { kind, id } = model.picked, shape = found.geometry.type;
  const list = shape === "Polygon" ? ringOf(found) : shape === "Point" ? [found.geometry.coordinates] : found.geometry.coordinates;
  const closed = shape === "Polygon", title = titleOf(kind, found);
  const geometry = (all) => (closed ? polygon(all, found.geometry.coordinates.slice(1)) : { type: shape, coordinates: shape === "Point" ? all[0] : all });
  showHandles({
    points: list, closed: closed, but: model.picked, insert: kind !== "spots" && shape !== "Point",
    names: (i) => (kind === "spots" ? (i === 0 ? "Stance of " : "Landing of ") : shape === "Point" ? "" : (closed ? "Corner " : "Point ") + (i + 1) + " of ") + title,
    removable: (all) => all.length > (closed ? 3 : shape === "LineString" && kind !== "spots" ? 2 : all.length),
    moving: (all) => {
      moving.addTo(map).clearLayers();
      const line = all.map(latlng);
      (closed ? L.polygon(line, { color: "#5b1a8b", weight: 3, fillOpacity: 0.08, interactive: false }) : L.polyline(line, { color: "#5b1a8b", weight: 3, interactive: false })).addTo(moving);
      const words = kind === "spots" ? castWords(all[0], all[1]) : shape === "Point" ? all[0][1].toFixed(6) + ", " + all[0][0].toFixed(6) : show(lineLength(closed ? [...all, all[0]] : all), "length");
      byId("pointer").hidden = false;
      say(byId("pointer"), words);
      emit("moving", { kind: kind, id: id, feature: { ...found, geometry: geometry(all) } });
    },
    undone: () => {
      byId("pointer").hidden = true;
      handlesOfPicked();
    },
    done: (all, what, i) => {
      byId("pointer").hidden = true;
      moving.clearLayers();
      if (closed && crossesItself(all)) {
        toast("That would make the outline cross itself; the point went back.");
        redraw();
        handlesOfPicked(i);
        return;
      }
      if (kind === "spots" && !castFits(all)) {
        redraw();
        handlesOfPicked(i);
        return;
      }
      const next = { ...found, geometry: geometry(all) };
      if (kind === "spots") {
        // the landing may have come into another run
        const run = runAt(all[1]);
        if (run && inside(all[1], ringOf(run))) next.properties = { ...next.properties, run: idOf(run) };
      }
      emit("edited", { kind: kind, id: id, at: performance.now() });
      edit(kind, [next], [], (what === "move" ? "Moved a point of " : what === "add" ? "Added a point to " : "Took a point from ") + title);
      handlesOfPicked(i);
    },
  }, focus);
}

// With the picked run's banks open to change, a tap on an edge gives that whole side to the water or takes it away.
hands.pickedTap = (p) => {
  const run = pickedFeature();
  if (!run || model.picked.kind !== "runs" || !hands.banks) return;
  const ring = ringOf(run), sides = bankEdges(ring, flowline());
  const closest = onLine(p, [...ring, ring[0]]), side = sides[closest.i];
  if (side === "end") {
    toast("That edge lies across the flow: it is no bank.");
    return;
  }
  const now = run.properties.banks || "none", has = { left: now === "left" || now === "both", right: now === "right" || now === "both" };
  has[side] = !has[side];
  const banks = has.left && has.right ? "both" : has.left ? "left" : has.right ? "right" : "none";
  edit("runs", [{ ...run, properties: { ...run.properties, banks: banks } }], [], "Water's edge of " + titleOf("runs", run) + ": " + banks);
  speak("Water's edge: " + banks);
};

let crossMarker = null;
function cross(shown) {
  if (crossMarker) crossMarker.remove();
  crossMarker = null;
  if (!shown || !byKey) return;
  crossMarker = L.marker(map.containerPointToLatLng(byKey), { interactive: false, keyboard: false, zIndexOffset: 2000,
    icon: L.divIcon({ html: el("span", { class: "cross" }), className: "icon", iconSize: [44, 44], iconAnchor: [22, 22] }) }).addTo(map);
}

// Drawing by keyboard: arrows move a cross (Shift: farther), space sets a point, Enter finishes, Escape leaves.
function keys(event) {
  if (tool === "pick" || event.target.closest("input, select, textarea, dialog")) return;
  const onMap = byId("map_desk").contains(event.target);
  const step = event.shiftKey ? 40 : 8, ways = { ArrowUp: [0, -step], ArrowDown: [0, step], ArrowLeft: [-step, 0], ArrowRight: [step, 0] };
  if (event.key === "Escape") setTool("pick");
  else if (!onMap) return;
  else if (ways[event.key]) {
    const size = map.getSize();
    byKey = (byKey || size.divideBy(2)).add(ways[event.key]);
    const over = L.point(byKey.x < 20 ? byKey.x - 20 : byKey.x > size.x - 20 ? byKey.x - size.x + 20 : 0, byKey.y < 20 ? byKey.y - 20 : byKey.y > size.y - 20 ? byKey.y - size.y + 20 : 0);
    if (over.x || over.y) {
      map.panBy(over, { animate: false });
      byKey = byKey.subtract(over);
    }
    at = round(snapped(byKey, 0, null, true).p);
    cross(true);
    paint();
  } else if (event.key === " ") {
    byKey = byKey || map.getSize().divideBy(2);
    addPoint(snapped(byKey, 8, null, event.altKey, tool).p);
    cross(true);
  } else if (event.key === "Enter") finish();
  else if (event.key === "Backspace") takeBack();
  else return;
  event.preventDefault();
  event.stopPropagation();
}

export function startDraw() {
  live.addTo(map);
  byId("doing").replaceChildren(
    el("span", {}, el("b", { id: "doing-next" }), " ", el("span", { id: "doing-size" })),
    el("span", { class: "row" },
      button("Finish", () => finish(), { id: "doing-finish" }), button("Take back a point", takeBack, { id: "doing-less" }), button("Leave", () => setTool("pick"), { id: "doing-leave" })));
  for (const one of document.querySelectorAll("[data-tool]")) one.addEventListener("click", () => setTool(one.dataset.tool === tool ? "pick" : one.dataset.tool));
  byId("snap").addEventListener("click", (event) => {
    const now = event.currentTarget.getAttribute("aria-pressed") !== "true";
    event.currentTarget.setAttribute("aria-pressed", String(now));
  });
  let pointerType = "mouse";
  byId("map_desk").addEventListener("pointerdown", (event) => {
    pointerType = event.pointerType;
  }, true);
  map.on("click", (event) => {
    if (tool === "pick") return;
    const finger = pointerType === "touch", reach = finger ? 24 : 12;
    // the first corner again closes a run, the last point again ends a line
    if (points.length >= SHAPES[tool].least) {
      const close = tool === "run" ? points[0] : points[points.length - 1];
      if (event.containerPoint.distanceTo(map.latLngToContainerPoint(latlng(close))) <= (finger ? 22 : 11)) {
        finish();
        return;
      }
    }
    addPoint(snapped(event.containerPoint, reach, null, event.originalEvent && event.originalEvent.altKey, tool).p);
    showSnap(null);
  });
  map.on("mousemove", (event) => {
    if (tool === "pick" || pointerType === "touch") return;
    const found = snapped(event.containerPoint, 12, null, event.originalEvent.altKey, tool);
    showSnap(found.near ? found.p : null);
    at = points.length ? round(found.p) : null;
    paintLive();
    paintDoing();
  });
  map.on("zoomend moveend", () => {
    if (tool === "pick" && model.picked && !model.hands) handlesOfPicked();
  });
  byId("map-frame").addEventListener("keydown", keys, true);
  document.addEventListener("keydown", (event) => {
    if (event.key === "Escape" && tool !== "pick" && !document.querySelector("dialog[open]")) setTool("pick");
  });
  on("tab", () => handlesOfPicked());
  on("picked", () => {
    hands.banks = false;
    handlesOfPicked();
  });
  on("changed", () => {
    if (tool === "pick" && !model.hands) handlesOfPicked();
  });
}
