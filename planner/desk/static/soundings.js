// Soundings in: a dropped file, a typed lead-line table, or single ones set on the map; judged before they are kept.
import { byId, button, el, field, group, input, name, select, textOf, toast } from "./dom.js";
import { showGhosts, latlng, map } from "./map.js";
import { model, on } from "./model.js";
import { chooser, dropList } from "./bring.js";
import { pointFields } from "./points.js";
import { setTool } from "./draw.js";
import { put } from "./saving.js";
import { api, query } from "./net.js";
import { typed, unit, units } from "./units.js";

let preview = null, answers = {}, source = null, rows = [], taut = false, listened = null;

const ASKS = {
  zone: ["Which time zone are the times in?", () => input(model.river.timezone, { placeholder: "America/Chicago" })],
  depth_unit: ["In which unit are the depths?", () => select(units() === "us" ? "ft" : "m", ["ft", "m", "fathom"])],
  transducer_depth: ["How deep does the transducer hang below the surface?", () => input("", { placeholder: units() === "us" ? "0.5 ft" : "0.2 m" })],
  columns: ["Which column is which?", () => input("", { placeholder: "lon=Longitude;lat=Latitude;depth=Depth" })],
};

function localNow() {
  const now = new Date(), away = -now.getTimezoneOffset(), two = (n) => String(Math.floor(Math.abs(n))).padStart(2, "0");
  return new Date(now.getTime() + away * 60000).toISOString().slice(0, 16) + (away < 0 ? "-" : "+") + two(away / 60) + ":" + two(away % 60);
}

async function look() {
  const box = byId("sound-preview");
  box.replaceChildren(el("p", { role: "status", text: "Reading." }));
  try {
    preview = source.file
      ? await api("POST", "/api/soundings/preview" + query({ name: source.file.name, ...answers }), await source.file.arrayBuffer(), { bytes: true })
      : await api("POST", "/api/soundings/preview" + query(answers), { rows: source.rows });
  } catch (error) {
    preview = null;
    showGhosts([]);
    box.replaceChildren(el("p", { class: "notice", role: "alert", text: (source.file ? source.file.name + ": " : "") + textOf(error) }));
    return;
  }
  showGhosts(preview.points);
  if (preview.points.length && source.file) map.fitBounds(preview.points.map(latlng), { padding: [40, 40], animate: false, maxZoom: 19 });
  paintPreview();
}

function paintPreview() {
  const box = byId("sound-preview");
  if (!preview) {
    box.replaceChildren();
    return;
  }
  const kept = preview.kept, fresh = preview.new ?? kept - (preview.already_there || 0);
  const asks = (preview.needs || []).map((need) => {
    const key = typeof need === "string" ? need : need.key, known = ASKS[key] || [need.question || key, () => input("")];
    const node = known[1]();
    if (answers[key]) node.value = answers[key];
    node.dataset.need = key;
    return field(known[0], node);
  });
  const dropped = (preview.dropped || []).map((one) => ({ ...one, where: one.line ? "line " + String(one.line).replace(/^line /, "") : "" }));
  const count = dropped.reduce((sum, one) => sum + (one.count || 1), 0);
  box.replaceChildren(
    el("h3", { tabindex: "-1", id: "preview-h" }, source.file ? name(source.file.name) : "What you typed"),
    preview.format ? el("p", { text: "Read as " + preview.format + "." }) : "",
    preview.preview ? el("ul", { class: "counts" },
      el("li", {}, el("b", { "data-count": "kept", text: String(fresh) }), " to be kept" + (preview.already_there ? "; " + preview.already_there + " are in the folder already" : "")),
      el("li", {}, el("b", { "data-count": "dropped", text: String(count) }), " dropped"),
      preview.outside ? el("li", {}, el("b", { text: String(preview.outside) }), " lie outside every run: they count once a run is drawn around them") : null) : "",
    dropList(dropped) || "",
    (preview.notes || []).length ? el("ul", {}, preview.notes.map((note) => el("li", { text: note }))) : "",
    asks.length ? group("To read it rightly", ...asks, button("Read again with this", () => {
      for (const node of box.querySelectorAll("[data-need]")) answers[node.dataset.need] = node.value.trim();
      look();
    })) : "",
    el("div", { class: "row" },
      preview.preview && fresh ? button("Keep " + fresh + (fresh === 1 ? " sounding" : " soundings"), keepThem, { id: "keep-soundings", class: "strong" }) : null,
      button("Leave " + (fresh === 1 ? "it" : "them"), () => {
        preview = null;
        showGhosts([]);
        paintPreview();
      }, { class: "quiet" })));
  byId("preview-h").focus();
}

async function keepThem() {
  try {
    await put("POST", "/api/soundings/apply", { preview: preview.preview });
    const were = preview.kept - (preview.already_there || 0);
    preview = null;
    if (!source.file) rows = [];
    showGhosts([]);
    paint();
    toast(were + (were === 1 ? " sounding" : " soundings") + " kept. Undo takes them out again.");
  } catch (error) {
    byId("sound-preview").append(el("p", { class: "notice", role: "alert", text: textOf(error) }));
  }
}

export function soundFile(file) {
  byId("tab-soundings").click();
  source = { file: file };
  answers = {};
  look();
}

function depthValue(node) {
  const value = typed(node.value);
  node.setAttribute("aria-invalid", String(!Number.isFinite(value) || value < 0));
  return value;
}

// One sounding set on the map, or typed
function setSingle(p) {
  byId("tab-soundings").click();
  paint();
  const box = byId("sound-single");
  box.open = true;
  const fields = box.fields;
  fields.at.set(p);
  fields.depth.focus();
}

function single() {
  const at = pointFields(null, "the sounding"), depth = input("", { inputmode: "decimal" }), when = input(localNow()), stage = input("", { inputmode: "decimal" });
  const go = () => {
    const p = at.value(), value = depthValue(depth);
    if (!p || !Number.isFinite(value) || value < 0) {
      toast("A sounding needs its place and its depth in " + unit("depth") + ".");
      return;
    }
    const row = { lon: p[0], lat: p[1], depth: value, unit: unit("depth"), taken_at: when.value.trim(), method: "by hand" };
    if (stage.value.trim()) row.stage = typed(stage.value);
    source = { rows: [row] };
    answers = {};
    look();
  };
  const node = el("details", { class: "folded", id: "sound-single" }, el("summary", { text: "One sounding" }),
    el("div", { class: "field-row" }, el("span", { class: "label", text: "Latitude, longitude" }), at.node),
    el("div", { class: "row" }, button("Set it on the map", () => setTool("sound"), { class: "quiet" })),
    field("Depth, " + unit("depth"), depth), field("Taken at", when, "Date, time and offset"), field("Gauge read, " + unit("depth"), stage, "Empty: looked up at that time"),
    button("Look at it", go, { id: "single-look" }));
  node.fields = { at: at, depth: depth };
  return node;
}

// A lead-line table: many rows of place and depth; or, along a tight line, distance from its first end and depth
function leadTable() {
  const when = input(localNow()), stage = input("", { inputmode: "decimal" });
  const ends = [pointFields(null, "the first end"), pointFields(null, "the second end")];
  const kind = select(taut ? "taut" : "points", [["points", "each with its place"], ["taut", "along a line between two points"]]);
  const body = el("tbody", {});
  const addRow = (given) => {
    const depth = input(given ? given.depth : "", { inputmode: "decimal", "aria-label": "Depth, " + unit("depth"), size: "6" });
    const far = input(given ? given.distance : "", { inputmode: "decimal", "aria-label": "Distance along the line, " + unit("depth"), size: "6" });
    const at = pointFields(given && given.p, "this sounding");
    const row = el("tr", {}, el("td", {}, taut ? far : at.node), el("td", {}, depth), el("td", {}, button("−", () => row.remove(), { "aria-label": "Take this row away", class: "quiet" })));
    row.read = () => ({ p: taut ? null : at.value(true), far: typed(far.value), depth: typed(depth.value), empty: !depth.value.trim() });
    depth.addEventListener("keydown", (event) => {
      if (event.key !== "Enter") return;
      event.preventDefault();
      if (row === body.lastElementChild) addRow();
      body.lastElementChild.querySelector("input").focus();
    });
    body.append(row);
  };
  for (let i = 0; i < 3; i += 1) addRow();
  const paste = el("textarea", { rows: 3, "aria-label": "Paste rows", placeholder: taut ? "distance, depth" : "latitude, longitude, depth" });
  paste.addEventListener("change", () => {
    const lines = paste.value.split(/\n/).map((line) => line.trim()).filter(Boolean);
    let bad = 0;
    for (const line of lines) {
      const parts = line.split(/[\t;]|,\s*|\s+/).filter(Boolean).map(Number);
      if (parts.length < (taut ? 2 : 3) || parts.some((part) => !Number.isFinite(part))) bad += 1;
      else addRow(taut ? { distance: parts[0], depth: parts[1] } : { p: [parts[1], parts[0]], depth: parts[2] });
    }
    paste.value = "";
    for (const row of [...body.children]) if (row.read().empty) row.remove();
    if (bad) toast(bad + (bad === 1 ? " pasted line was" : " pasted lines were") + " not numbers.");
  });
  kind.addEventListener("change", () => {
    taut = kind.value === "taut";
    paint();
    byId("sound-table").open = true;
  });
  const go = () => {
    const found = [...body.children].map((row) => row.read()).filter((row) => !row.empty);
    const own = taut ? ends.map((one) => one.value()) : [];
    const wrong = found.filter((row) => !Number.isFinite(row.depth) || (taut ? !Number.isFinite(row.far) : !row.p)).length;
    if (!found.length || wrong || own.includes(null)) {
      toast(wrong ? wrong + (wrong === 1 ? " row has" : " rows have") + " no place or no depth." : own.includes(null) ? "Both ends of the line are needed." : "Type at least one row.");
      return;
    }
    const read = typed(stage.value);
    source = { rows: found.map((row) => ({
      ...(taut ? { from_lon: own[0][0], from_lat: own[0][1], to_lon: own[1][0], to_lat: own[1][1], distance: row.far } : { lon: row.p[0], lat: row.p[1] }),
      depth: row.depth, unit: unit("depth"), taken_at: when.value.trim(), ...(Number.isFinite(read) ? { stage: read } : {}),
    })) };
    answers = {};
    look();
  };
  return el("details", { class: "folded", id: "sound-table" }, el("summary", { text: "Lead-line table" }),
    field("Soundings", kind), field("Taken at", when, "Of all rows"), field("Gauge read, " + unit("depth"), stage, "Empty: looked up at that time"),
    taut ? el("div", {}, ["First end", "Second end"].map((words, i) => el("div", { class: "field-row" }, el("span", { class: "label", text: words + ", latitude and longitude" }), ends[i].node))) : null,
    el("table", { class: "plain" }, el("caption", { text: "Depths in " + unit("depth") }), el("thead", {}, el("tr", {}, el("th", { scope: "col", text: taut ? "Distance, " + unit("depth") : "Latitude, longitude" }), el("th", { scope: "col", text: "Depth" }), el("th", { scope: "col" }, el("span", { class: "hide", text: "Take away" })))), body),
    el("div", { class: "row" }, button("Add a row", () => addRow()), button("Look at the table", go, { id: "table-look" })),
    field("Or paste rows", paste));
}

function paint() {
  const root = byId("panel-soundings"), held = model.river.soundings || { count: 0 };
  const open = ["sound-single", "sound-table"].filter((id) => byId(id) && byId(id).open);
  root.replaceChildren(
    el("p", { class: "figures" }, el("b", { id: "sound-count", text: String(held.count || 0) }), " soundings in the folder" + (held.points && held.points.length < held.count ? ", " + held.points.length + " drawn" : "") + "."),
    el("div", { class: "drop" }, chooser("Bring in a file of soundings", "CSV, lead-line table, GPX, GeoJSON or NMEA 0183 log; or drop it here. Nothing is written before you say so.", ".csv,.txt,.tsv,.gpx,.geojson,.json,.nmea,.log", soundFile, "file-soundings")),
    el("div", { id: "sound-preview", class: "preview" }),
    single(), leadTable());
  for (const id of open) byId(id).open = true;
  paintPreviewQuietly();
}

function paintPreviewQuietly() {
  if (!preview) return;
  const held = document.activeElement;
  paintPreview();
  if (held && held.isConnected) held.focus();
}

export function startSoundings() {
  on("river", () => {
    // what is being typed is not wiped by an edit elsewhere
    const now = JSON.stringify([model.river.soundings && model.river.soundings.count, units(), model.river.folder_key]);
    if (now === listened) return;
    listened = now;
    paint();
  });
  on("sound-at", setSingle);
  on("sound-file", soundFile);
}

