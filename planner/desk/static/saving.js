// Each edit is sent at once and kept here until the desk has said that it stands on disk.
// No answer: kept by this browser and sent again. Changed on both sides: the two are shown side by side.
import { ask, byId, button, clock, el, say, speak, textOf, toast } from "./dom.js";
import { api } from "./net.js";
import { KINDS, ONE, emit, forgetHeld, idOf, model, titleOf } from "./model.js";
import { setUnits, show } from "./units.js";
import { distance, lineLength } from "./geo.js";

const PREFIX = "plumbrun-desk-unsaved-";
let busy = false, again = 0, asking = false, steps = Promise.resolve();
let mine = null;

function tab() {
  if (mine) return mine;
  try {
    mine = sessionStorage.getItem("plumbrun-desk-tab") || Math.random().toString(36).slice(2);
    sessionStorage.setItem("plumbrun-desk-tab", mine);
  } catch (error) {
    mine = "one";
  }
  return mine;
}

function folderKey() {
  return PREFIX + (model.river.folder_key || model.river.folder_name || "river") + "-";
}

// What is not saved outlives the page and the desk; a browser may refuse to keep anything.
function keep() {
  if (!model.river) return true;
  const edits = [...model.refused.values(), ...model.queue];
  try {
    const key = folderKey() + tab();
    if (edits.length) localStorage.setItem(key, JSON.stringify({ at: Date.now(), edits: edits }));
    else localStorage.removeItem(key);
    return true;
  } catch (error) {
    return edits.length === 0;
  }
}

// Edits that an earlier page of this folder could not save; those of a page that is still open are its own.
export function takeUpKept() {
  let found = 0;
  try {
    for (const key of Object.keys(localStorage)) {
      if (!key.startsWith(folderKey())) continue;
      const own = key === folderKey() + tab(), entry = JSON.parse(localStorage.getItem(key) || "null");
      if (!entry || !Array.isArray(entry.edits) || (!own && Date.now() - entry.at < 15000)) continue;
      for (const edit of entry.edits) {
        if (!KINDS.includes(edit.kind) || !Array.isArray(edit.set) || !Array.isArray(edit.remove)) continue;
        model.queue.push({ ...edit, tries: 0 });
        found += 1;
      }
      if (!own) localStorage.removeItem(key);
    }
  } catch (error) {
    return found;
  }
  if (found) {
    changed();
    toast(found + (found === 1 ? " edit" : " edits") + " of an earlier page had not been saved; sending now.");
    flush();
  }
  return found;
}

setInterval(() => {
  if (model.queue.length || model.refused.size) keep();
}, 5000);

let savedAt = null;
export function status(words, state) {
  const node = byId("saved");
  node.dataset.state = state;
  say(node, words);
}

function saidSaved() {
  savedAt = new Date();
  const refused = model.refused.size;
  if (refused) status(refused + (refused === 1 ? " edit is" : " edits are") + " not saved: see the message", "wrong");
  else status("saved " + clock(savedAt), "saved");
}

function changed() {
  forgetHeld();
  emit("changed");
}

export function setHistory(history) {
  model.history = history || { back: 0, forward: 0 };
  byId("back").disabled = !model.history.back && !model.queue.length;
  byId("forward").disabled = !model.history.forward;
}

function taken(river) {
  model.river = river;
  model.version = river.version;
  setUnits(river.units);
  setHistory(river.history);
  changed();
  emit("river");
}

export async function load() {
  const river = await api("GET", "/api/river");
  if (river.new) return river;
  taken(river);
  const stuck = (river.findings || []).find((finding) => finding.level === "error" && !finding.file);
  if (river.read_only || stuck) status("not saved from here: " + (stuck ? stuck.given : "the folder is read-only"), "wrong");
  else if (!savedAt) status("opened " + clock(new Date()), "saved");
  return river;
}

export function useRiver(river) {
  taken(river);
  saidSaved();
}

// One edit: features set or removed, and a few words on what was done.
export function edit(kind, set, remove, said) {
  for (const one of set) {
    model.refused.delete(kind + "/" + idOf(one));
    delete one.unsaved;
  }
  for (const id of remove) model.refused.delete(kind + "/" + id);
  model.queue.push({ kind: kind, set: set, remove: remove, said: said, version: model.version, tries: 0 });
  emit("edit", kind);
  setHistory(model.history);
  const kept = keep();
  status(kept ? "saving" : "saving; this browser keeps nothing back if it closes", "busy");
  changed();
  flush();
}

export async function flush() {
  if (busy || asking) return;
  busy = true;
  clearTimeout(again);
  try {
    while (model.queue.length) {
      const edit = model.queue[0];
      if (!(await sendOne(edit))) return;
      keep();
      changed();
    }
    saidSaved();
    emit("saved");
  } finally {
    busy = false;
  }
}

function retry(wait) {
  clearTimeout(again);
  again = setTimeout(flush, wait);
}

// Goes through the folder as it stands: what is applied here is what the server answers.
function stand(edit) {
  const stored = model.river[edit.kind] || { type: "FeatureCollection", features: [] };
  const at = new Map(stored.features.map((one) => [idOf(one), one]));
  for (const one of edit.set) {
    const over = at.get(idOf(one)), properties = { ...(over ? over.properties : {}), ...one.properties };
    for (const key of Object.keys(properties)) if (properties[key] === null) delete properties[key];
    at.set(idOf(one), { ...(over || {}), ...one, properties: properties });
  }
  for (const id of edit.remove) at.delete(id);
  model.river[edit.kind] = { ...stored, features: [...at.values()] };
}

async function sendOne(edit) {
  try {
    const answer = await api("PUT", "/api/shapes/" + edit.kind, { version: edit.version, set: edit.set, remove: edit.remove, said: edit.said });
    const before = model.version;
    model.queue.shift();
    stand(edit);
    model.version = answer.version;
    model.river.findings = answer.findings || model.river.findings;
    for (const next of model.queue) if (next.version === before || next.version === edit.version) next.version = answer.version;
    setHistory(answer.history);
    if ((answer.merged || []).length) {
      await load();
      emit("elsewhere", answer.merged.join(", ") + " changed elsewhere; that and your edit are both kept.");
    }
    return true;
  } catch (error) {
    if (error.status === 0) {
      status("the desk does not answer: " + counted() + " kept here, sent again by itself", "wrong");
      edit.tries += 1;
      retry(Math.min(15000, 1500 * 1.5 ** edit.tries));
      return false;
    }
    if (error.status === 403) {
      status("the desk was started anew: open the address that it printed; " + counted() + " kept here", "wrong");
      retry(8000);
      return false;
    }
    if (error.status === 507 || error.status >= 500) {
      const why = error.status === 507 ? error.given : textOf(error);
      status("not saved: " + why.replace(/\.$/, "") + "; " + counted() + " kept here", "wrong");
      showStuck(error);
      edit.tries += 1;
      retry(Math.min(20000, 4000 * 1.4 ** edit.tries));
      return false;
    }
    if (error.status === 409) return settle(edit, error);
    return refuse(edit, error);
  }
}

function counted() {
  const n = model.queue.length + model.refused.size;
  return n + (n === 1 ? " edit" : " edits");
}

function showStuck(error) {
  byId("alerts").replaceChildren(el("div", { class: "notice" },
    el("p", { text: "Not saved. " + textOf(error) }),
    el("div", { class: "row" }, button("Try again now", () => flush()), button("Keep a copy as a file", copyOut))));
}

export function clearStuck() {
  if (!model.refused.size) byId("alerts").replaceChildren();
}

// The edits that are not saved, as a file that any desk takes back in by dropping.
export function copyOut() {
  const found = [...model.refused.values(), ...model.queue].flatMap((edit) => edit.set);
  const text = JSON.stringify({ type: "FeatureCollection", features: found.map((one) => ({ type: "Feature", properties: one.properties, geometry: one.geometry })) });
  const link = el("a", { href: URL.createObjectURL(new Blob([text], { type: "application/geo+json" })), download: "not-saved.geojson" });
  document.body.append(link);
  link.click();
  link.remove();
}

// The desk will not have this edit: it stays drawn, marked as not saved, until it is mended or given up.
function refuse(edit, error) {
  model.queue.shift();
  for (const one of edit.set) model.refused.set(edit.kind + "/" + idOf(one), { kind: edit.kind, set: [one], remove: [], said: edit.said, version: edit.version, tries: 0 });
  keep();
  changed();
  const giveUp = () => {
    for (const one of edit.set) model.refused.delete(edit.kind + "/" + idOf(one));
    keep();
    byId("alerts").replaceChildren();
    saidSaved();
    changed();
  };
  const about = edit.set[0];
  byId("alerts").replaceChildren(el("div", { class: "notice" },
    el("p", {}, "Not saved: ", el("bdi", { text: error.where || (about ? titleOf(edit.kind, about) : edit.said) }), ". ", textOf(error)),
    el("div", { class: "row" },
      about && button("Mend it", () => emit("open", { kind: edit.kind, id: idOf(about) })),
      button("Give this edit up", giveUp))));
  status("1 edit is not saved: see the message", "wrong");
  speak("Not saved. " + textOf(error));
  return true;
}

function sizeOf(feature) {
  if (!feature || !feature.geometry) return "deleted";
  const points = feature.geometry.coordinates;
  if (feature.geometry.type === "Polygon") return points[0].length - 1 + " corners, " + show(lineLength(points[0]), "length") + " around";
  if (feature.geometry.type === "LineString") return points.length + " points, " + show(points.length === 2 ? distance(...points) : lineLength(points), "length");
  return points[1].toFixed(6) + ", " + points[0].toFixed(6);
}

function side(title, feature, other) {
  const rows = [["drawing", sizeOf(feature)]];
  const own = (feature && feature.properties) || {}, their = (other && other.properties) || {};
  for (const key of new Set([...Object.keys(own), ...Object.keys(their)])) {
    if (key === "id" || JSON.stringify(own[key]) === JSON.stringify(their[key])) continue;
    rows.push([key, own[key] === undefined ? "not given" : typeof own[key] === "object" ? JSON.stringify(own[key]) : String(own[key])]);
  }
  return el("div", { class: "side-by-side-part" }, el("h3", { text: title }),
    el("dl", {}, rows.flatMap(([key, value]) => [el("dt", { text: key }), el("dd", {}, el("bdi", { text: value }))])));
}

async function settle(edit, error) {
  asking = true;
  status("not saved: changed elsewhere too; choose which to keep", "wrong");
  try {
    const byName = (list) => new Map((Array.isArray(list) ? list : list ? [list] : []).map((one) => [one.removed ? String(one.id) : idOf(one), one.removed ? null : one]));
    const own = byName(error.body.mine), their = byName(error.body.theirs);
    const clashes = [...new Set([...own.keys(), ...their.keys()])];
    if (!clashes.length) for (const one of edit.set) clashes.push(idOf(one));
    const keepTheirs = new Set();
    for (const id of clashes) {
      const shown = own.get(id) || edit.set.find((one) => idOf(one) === id) || null;
      let answer = null;
      while (answer === null) {
        answer = await ask("Changed in two places: " + id, [
          "This " + ONE[edit.kind] + " was changed elsewhere since you saw it. Nothing is overwritten until you choose.",
          el("div", { class: "side-by-side" }, side("Yours, here", shown, their.get(id)), side("The other, on disk", their.get(id), shown)),
        ], [["mine", "Keep mine"], ["theirs", "Keep the other"]]);
      }
      if (answer === "theirs") keepTheirs.add(id);
    }
    edit.set = edit.set.filter((one) => !keepTheirs.has(idOf(one)));
    edit.remove = edit.remove.filter((id) => !keepTheirs.has(id));
    const river = await api("GET", "/api/river");
    model.river = river;
    model.version = river.version;
    for (const one of model.queue) one.version = river.version;
    // mine stands whole: what the other side had added to it goes
    for (const one of edit.set) {
      const there = (river[edit.kind].features || []).find((other) => idOf(other) === idOf(one));
      for (const key of Object.keys((there && there.properties) || {})) if (!(key in one.properties)) one.properties[key] = null;
    }
    setHistory(river.history);
    if (!edit.set.length && !edit.remove.length) model.queue.shift();
    changed();
    emit("river");
    return true;
  } catch (failed) {
    status("the desk does not answer: " + counted() + " kept here, sent again by itself", "wrong");
    retry(3000);
    return false;
  } finally {
    asking = false;
  }
}

// Steps back and forward wait for what is still being saved, one after the other.
export function step(way, times) {
  steps = steps.then(async () => {
    for (let i = 0; i < (times || 1); i += 1) {
      for (let wait = 0; model.queue.length && wait < 100; wait += 1) await new Promise((done) => setTimeout(done, 50));
      if (model.queue.length) {
        toast("The last edits are not saved yet; step back when they are.");
        return;
      }
      try {
        const river = await api("POST", "/api/history/" + way, { version: model.version });
        useRiver(river);
        speak(way === "back" ? "One step back." : "One step forward.");
      } catch (error) {
        if (error.status === 409) await load();
        toast(textOf(error));
        return;
      }
    }
  });
  return steps;
}

// Looks whether the folder was changed elsewhere; what changed is said and taken in, unless edits wait.
let looking = false, gone = false;
export async function look() {
  if (!model.river || looking || busy || asking || document.hidden) return;
  looking = true;
  try {
    const found = await api("GET", "/api/version");
    if (gone) {
      gone = false;
      saidSaved();
      if (model.queue.length) flush();
    }
    if (found.version !== model.version && !busy && !model.queue.length && !model.hands) {
      const before = JSON.stringify(model.river), old = model.river;
      await load();
      if (JSON.stringify(model.river) !== before) emit("elsewhere", "Changed elsewhere at " + clock(new Date()) + ": " + whatChanged(old, model.river) + ".");
    }
  } catch (error) {
    if (error.status === 0) {
      gone = true;
      status("the desk does not answer; what you draw is kept here and sent when it does", "wrong");
    } else if (error.status === 403) {
      gone = true;
      status("the desk was started anew: open the address that it printed; what you draw is kept here", "wrong");
    }
  } finally {
    looking = false;
  }
}

function whatChanged(old, now) {
  const found = [];
  for (const kind of KINDS) {
    const were = new Map(((old[kind] || {}).features || []).map((one) => [idOf(one), JSON.stringify(one)]));
    for (const one of (now[kind] || {}).features || []) {
      if (were.get(idOf(one)) !== JSON.stringify(one)) found.push(ONE[kind] + " " + titleOf(kind, one));
      were.delete(idOf(one));
    }
    for (const id of were.keys()) found.push(ONE[kind] + " " + id + " (deleted)");
  }
  for (const part of ["soundings", "tackle", "settings", "log"]) {
    if (JSON.stringify(old[part]) !== JSON.stringify(now[part])) found.push(part);
  }
  if (!found.length) return "the folder";
  return found.length > 4 ? found.slice(0, 4).join(", ") + " and " + (found.length - 4) + " more" : found.join(", ");
}

export function unsavedCount() {
  return model.queue.length + model.refused.size;
}

// A change of tackle, settings or soundings: not queued, the form keeps it until the desk has it.
export async function put(method, path, body) {
  status("saving", "busy");
  try {
    const answer = await api(method, path, { version: model.version, ...body });
    if (answer.runs) useRiver(answer);
    else {
      model.version = answer.version;
      await load();
      saidSaved();
    }
    return answer;
  } catch (error) {
    status("not saved: " + error.given.replace(/\.$/, ""), "wrong");
    if (error.status === 409) {
      await load();
      error.next = "look at what stands there now, then save again";
    }
    throw error;
  }
}
