// The nearest point or edge already drawn, when it is near enough to be meant.
import { byId } from "./dom.js";
import { map, latlng, lonlat } from "./map.js";
import { features, idOf, ringOf } from "./model.js";
import { onSegment } from "./geo.js";

const L = window.L;
let ring = null;

export function snapping() {
  return byId("snap").getAttribute("aria-pressed") === "true";
}

// What each kind is drawn to: a run to its neighbours, a cast to other casts, never a cast to a bank, where it is dry.
const TO = {
  run: ["runs"], runs: ["runs"], split: ["runs"], spot: ["spots"], spots: ["spots"], flowline: [], sound: [],
  put_in: ["runs", "places"], take_out: ["runs", "places"], hazard: ["runs", "places"], places: ["runs", "places"],
};

// All lines of the kinds asked but the one being moved, as [points, closed]
function lines(but, kind) {
  const found = [], to = TO[kind] || [];
  if (to.includes("runs")) for (const run of features("runs")) if (!but || but.kind !== "runs" || but.id !== idOf(run)) found.push([ringOf(run), true]);
  if (to.includes("spots")) for (const spot of features("spots")) if (!but || but.kind !== "spots" || but.id !== idOf(spot)) found.push([spot.geometry.coordinates, false]);
  if (to.includes("places")) for (const place of features("places")) {
    if (but && but.kind === "places" && but.id === idOf(place)) continue;
    found.push([place.geometry.type === "Point" ? [place.geometry.coordinates] : place.geometry.coordinates, false]);
  }
  return found;
}

// `at` in pixels of the map; gives the point to use and whether it was drawn to something. Points win over edges.
export function snapped(at, reach, but, free, kind) {
  const plain = { p: lonlat(map.containerPointToLatLng(at)), near: false };
  if (free || !snapping()) return plain;
  const px = (p) => map.latLngToContainerPoint(latlng(p)), here = [at.x, at.y];
  let best = null;
  for (const [points, closed] of lines(but, kind)) {
    const flat = points.map((p) => {
      const q = px(p);
      return [q.x, q.y];
    });
    flat.forEach((q, i) => {
      const far = Math.hypot(q[0] - here[0], q[1] - here[1]);
      if (far <= reach && (!best || best.edge || far < best.far)) best = { far: far, p: points[i], edge: false };
    });
    if (best && !best.edge) continue;
    for (let i = 0; i + (closed ? 0 : 1) < flat.length; i += 1) {
      const found = onSegment(here, flat[i], flat[(i + 1) % flat.length]);
      if (found.far <= 0.7 * reach && (!best || found.far < best.far)) {
        best = { far: found.far, p: lonlat(map.containerPointToLatLng(L.point(found.at[0], found.at[1]))), edge: true };
      }
    }
  }
  return best ? { p: best.p, near: true } : plain;
}

// A ring around the point that was caught
export function showSnap(p) {
  if (ring) ring.remove();
  ring = p ? L.circleMarker(latlng(p), { radius: 13, color: "#5b1a8b", weight: 3, fill: false, interactive: false }).addTo(map) : null;
}
