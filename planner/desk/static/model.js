// The river folder as the desk last saw it, with the edits that are not saved yet laid over it.
export const model = {
  river: null, queue: [], refused: new Map(), version: "", listeners: {}, level: "", picked: null,
};

export const KINDS = ["runs", "spots", "places"];
export const ONE = { runs: "run", spots: "spot", places: "place" };

export function on(event, what) {
  (model.listeners[event] = model.listeners[event] || []).push(what);
}

export function emit(event, given) {
  for (const what of model.listeners[event] || []) what(given);
}

export function idOf(feature) {
  return String(feature.properties.id);
}

// A feature as it will stand once saved: members of the edit laid over the one that stands there, null takes one away.
function laidOver(feature, over) {
  const properties = { ...(over ? over.properties : {}), ...feature.properties };
  for (const key of Object.keys(properties)) if (properties[key] === null) delete properties[key];
  return { ...(over || {}), ...feature, properties: properties };
}

export function collection(kind) {
  const found = new Map();
  const stored = model.river && model.river[kind];
  for (const feature of (stored && stored.features) || []) if (feature.properties) found.set(idOf(feature), feature);
  const apply = (edit, unsaved) => {
    if (edit.kind !== kind) return;
    for (const feature of edit.set) found.set(idOf(feature), { ...laidOver(feature, found.get(idOf(feature))), unsaved: unsaved });
    for (const id of edit.remove) found.delete(id);
  };
  for (const edit of model.refused.values()) apply(edit, true);
  for (const edit of model.queue) apply(edit, true);
  return found;
}

let held = {};
export function forgetHeld() {
  held = {};
}

function all(kind) {
  if (!held[kind]) held[kind] = collection(kind);
  return held[kind];
}

export function features(kind) {
  return [...all(kind).values()];
}

export function feature(kind, id) {
  return all(kind).get(id) || null;
}

export function flowline() {
  const found = features("places").find((place) => place.properties.kind === "flowline");
  return found ? found.geometry.coordinates : null;
}

// The outer ring without its repeated last point
export function ringOf(run) {
  const ring = run.geometry.coordinates[0];
  const closed = ring.length > 1 && ring[0][0] === ring[ring.length - 1][0] && ring[0][1] === ring[ring.length - 1][1];
  return closed ? ring.slice(0, -1) : ring.slice();
}

export function polygon(ring, holes) {
  return { type: "Polygon", coordinates: [[...ring, ring[0]], ...(holes || [])] };
}

export function titleOf(kind, feature) {
  return feature.properties.name || idOf(feature);
}

// A short id from a name, once in its file
export function freshId(kind, words) {
  const base = String(words).toLowerCase().normalize("NFKD").replace(/[^a-z0-9]+/g, "-").replace(/^-+|-+$/g, "").slice(0, 40) || ONE[kind];
  let id = base;
  for (let i = 2; all(kind).has(id); i += 1) id = base + "-" + i;
  return id;
}

export function freshName(kind, words) {
  const names = new Set(features(kind).map((one) => titleOf(kind, one)));
  let name = words;
  for (let i = 2; names.has(name); i += 1) name = words + " " + i;
  return name;
}

export function pick(kind, id) {
  const same = model.picked && kind && model.picked.kind === kind && model.picked.id === id;
  if (same || (!kind && !model.picked)) return;
  model.picked = kind ? { kind: kind, id: id } : null;
  emit("picked", model.picked);
}

export function pickedFeature() {
  return model.picked ? feature(model.picked.kind, model.picked.id) : null;
}
