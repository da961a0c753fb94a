// Handles on the points of what is picked or being drawn: 44 px for a finger, a name and arrow keys for the rest.
import { el, speak } from "./dom.js";
import { icon, latlng, map } from "./map.js";
import { model } from "./model.js";
import { moved, round } from "./geo.js";
import { showSnap, snapped } from "./snap.js";

const L = window.L;
const layer = L.layerGroup();
let shown = null, markers = [];

const POINTED = 12, FINGER = 24;

function place(i, half) {
  const points = shown.points;
  if (!half) return points[i];
  const a = points[i], b = points[(i + 1) % points.length];
  return [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2];
}

// A finger's box covers its neighbours': the point nearest to the finger is meant, not the topmost box.
function nearest(event) {
  const at = map.mouseEventToContainerPoint(event);
  let best = null;
  for (const one of markers) {
    const far = at.distanceTo(map.latLngToContainerPoint(one.marker.getLatLng())) + (one.half ? 6 : 0);
    if (!best || far < best.far) best = { far: far, one: one };
  }
  return best.one;
}

function press(event) {
  if (event.button > 0 || !shown) return;
  event.stopPropagation();
  event.preventDefault();
  let one = nearest(event);
  const reach = event.pointerType === "touch" ? FINGER : POINTED, node = event.currentTarget, spec = shown;
  const start = map.mouseEventToContainerPoint(event), grab = start.subtract(map.latLngToContainerPoint(one.marker.getLatLng()));
  let going = false, points = spec.points.slice(), index = one.i, last = null;
  node.setPointerCapture(event.pointerId);
  model.hands = true;
  const move = (now) => {
    if (now.pointerId !== event.pointerId) return;
    const at = map.mouseEventToContainerPoint(now);
    if (!going && at.distanceTo(start) < 4) return;
    if (!going) {
      going = true;
      if (one.half) {
        index = one.i + 1;
        points.splice(index, 0, place(one.i, true));
      }
    }
    const found = snapped(at.subtract(grab), reach, spec.but, now.altKey, spec.but && spec.but.kind);
    last = round(found.p);
    points = points.slice();
    points[index] = last;
    showSnap(found.near ? last : null);
    one.marker.setLatLng(latlng(last));
    spec.moving(points, index);
  };
  const end = (now) => {
    if (now.pointerId !== event.pointerId) return;
    node.removeEventListener("pointermove", move);
    node.removeEventListener("pointerup", end);
    node.removeEventListener("pointercancel", end);
    showSnap(null);
    model.hands = false;
    if (going && now.type === "pointerup") spec.done(points, one.half ? "add" : "move", index);
    else if (going) spec.undone();
    else if (one.half) {
      points.splice(one.i + 1, 0, round(place(one.i, true)));
      spec.done(points, "add", one.i + 1);
    } else {
      one.marker.getElement().focus({ preventScroll: true });
      if (spec.tapped) spec.tapped(one.i);
    }
  };
  node.addEventListener("pointermove", move);
  node.addEventListener("pointerup", end);
  node.addEventListener("pointercancel", end);
}

// Arrow keys move half a metre, with Shift five; Delete takes the point away; Insert or plus adds one after it.
function key(event, i, half) {
  const spec = shown, points = spec.points.slice(), step = event.shiftKey ? 5 : 0.5;
  const ways = { ArrowUp: [0, step], ArrowDown: [0, -step], ArrowLeft: [-step, 0], ArrowRight: [step, 0] };
  if (event.key === "Escape" || event.key === "Tab" || event.ctrlKey || event.metaKey) return;
  if (ways[event.key] && !half) {
    points[i] = moved(points[i], ...ways[event.key]);
    spec.moving(points, i);
    keyed(spec, points, i);
  } else if ((event.key === "Delete" || event.key === "Backspace") && !half) {
    if (!spec.removable(points)) speak("This many points are needed; it cannot be taken away.");
    else {
      points.splice(i, 1);
      spec.done(points, "remove", Math.min(i, points.length - 1));
    }
  } else if ((event.key === "Insert" || event.key === "+") || (half && (event.key === "Enter" || event.key === " "))) {
    if (!spec.insert) return;
    const next = (i + 1) % points.length;
    points.splice(i + 1, 0, round([(points[i][0] + points[next][0]) / 2, (points[i][1] + points[next][1]) / 2]));
    spec.done(points, "add", i + 1);
  } else return;
  event.preventDefault();
  event.stopPropagation();
}

// Several presses of an arrow key are one edit, saved when the key has rested.
let resting = 0;
function keyed(spec, points, i) {
  shown = { ...spec, points: points };
  const found = markers.find((one) => one.i === i && !one.half);
  if (found) found.marker.setLatLng(latlng(points[i]));
  clearTimeout(resting);
  resting = setTimeout(() => spec.done(points, "move", i), 400);
}

export function clearHandles() {
  layer.clearLayers();
  markers = [];
  shown = null;
}

// spec: points, closed, names(i), moving(points, i), done(points, what, i), undone(), removable(points), insert, but
export function showHandles(spec, focus) {
  const had = document.activeElement && document.activeElement.dataset.handle;
  layer.clearLayers();
  layer.addTo(map);
  markers = [];
  shown = spec;
  const px = spec.points.map((p) => map.latLngToContainerPoint(latlng(p)));
  let lastShown = null;
  spec.points.forEach((p, i) => {
    // where points lie closer than a fingertip some are left out; zooming in brings them, the table has them all
    const crowded = lastShown && px[i].distanceTo(lastShown) < 15 && spec.points.length > 12;
    if (crowded && String(i) !== (focus ?? had)) return;
    lastShown = px[i];
    add(p, i, false);
    const next = (i + 1) % spec.points.length;
    if (spec.insert && (spec.closed || i + 1 < spec.points.length) && px[i].distanceTo(px[next]) > 56) add(place(i, true), i, true);
  });
  const wanted = focus ?? had;
  if (wanted !== undefined && wanted !== null) {
    const found = markers.find((one) => !one.half && String(one.i) === String(wanted));
    if (found) found.marker.getElement().focus({ preventScroll: true });
  }
}

function add(p, i, half) {
  const node = el("span", { class: half ? "handle half" : "handle" });
  const marker = L.marker(latlng(p), { icon: icon(node, [44, 44]), keyboard: false, zIndexOffset: half ? 900 : 1000, interactive: false, bubblingMouseEvents: false }).addTo(layer);
  const box = marker.getElement();
  box.classList.add("handle-box");
  if (half) box.classList.add("half-box");
  else box.dataset.handle = i;
  box.tabIndex = 0;
  box.setAttribute("role", "button");
  box.setAttribute("aria-label", half ? "Add a point after " + shown.names(i) : shown.names(i) + "; arrow keys move it, Delete takes it away");
  L.DomEvent.disableClickPropagation(box);
  box.addEventListener("pointerdown", press);
  box.addEventListener("keydown", (event) => key(event, i, half));
  box.addEventListener("contextmenu", (event) => event.preventDefault());
  markers.push({ marker: marker, i: i, half: half });
}
