// The log: what happened at each cast, put in by hand or from the file that the page saved, and what it taught.
import { byId, button, el, field, group, input, name, select, table, textOf, toast } from "./dom.js";
import { chooser } from "./bring.js";
import { feature, features, idOf, model, on, titleOf } from "./model.js";
import { api } from "./net.js";
import { put } from "./saving.js";
import { fixed, known, show, typed, unit } from "./units.js";

let was = "", fresh = false;

function localNow() {
  const now = new Date(), away = -now.getTimezoneOffset(), two = (n) => String(Math.floor(Math.abs(n))).padStart(2, "0");
  return new Date(now.getTime() + away * 60000).toISOString().slice(0, 16) + (away < 0 ? "-" : "+") + two(away / 60) + ":" + two(away % 60);
}

// Comma separated values with quotes, as the page saves them
export function readRows(text) {
  const rows = [[]];
  let cell = "", quoted = false;
  for (let i = 0; i < text.length; i += 1) {
    const c = text[i];
    if (quoted) {
      if (c === '"' && text[i + 1] === '"') {
        cell += '"';
        i += 1;
      } else if (c === '"') quoted = false;
      else cell += c;
    } else if (c === '"') quoted = true;
    else if (c === ",") {
      rows[rows.length - 1].push(cell);
      cell = "";
    } else if (c === "\n") {
      rows[rows.length - 1].push(cell.replace(/\r$/, ""));
      cell = "";
      rows.push([]);
    } else cell += c;
  }
  if (cell || rows[rows.length - 1].length) rows[rows.length - 1].push(cell);
  const [head, ...rest] = rows.filter((row) => row.length > 1 || row[0]);
  return head ? rest.map((row) => Object.fromEntries(head.map((key, i) => [key.replace(/^\ufeff/, "").trim(), row[i] ?? ""]))) : [];
}

async function send(rows, says) {
  try {
    await put("POST", "/api/log", { rows: rows });
    toast(rows.length + (rows.length === 1 ? " cast" : " casts") + " logged; the next plan learns from it.");
    return true;
  } catch (error) {
    says.replaceChildren(el("span", { role: "alert", text: "Not logged. " + textOf(error) }));
    return false;
  }
}

function entry() {
  const tackle = model.river.tackle || {}, lines = tackle.line || tackle.lines || [], flies = tackle.fly || tackle.flies || [];
  const spot = select(null, features("spots").map((one) => [idOf(one), titleOf("spots", one)]), { id: "log-spot" });
  const line = select("", [["", "not noted"], ...lines.map((one) => one.name)], { id: "log-line" }), fly = select("", [["", "not noted"], ...flies.map((one) => one.name)], { id: "log-fly" });
  const when = input(localNow(), { id: "log-when" }), count = input("", { inputmode: "decimal", id: "log-count" }), level = input("", { inputmode: "decimal", id: "log-level" });
  const mode = select("", [["", "not noted"], ["held", "line held"], ["fed", "line fed"], ["mended", "line mended"]]), strip = input("", { inputmode: "decimal" }), caught = input("0", { inputmode: "numeric" }), note = input("");
  const outcome = el("div", { class: "row", role: "radiogroup", "aria-label": "What the fly did" }, [["clean", "did not touch"], ["touched", "touched"], ["hung", "hung"]].map(([value, words], i) => el("label", { class: "check" }, el("input", { type: "radio", name: "outcome", value: value, checked: i === 0 }), " " + words)));
  const says = el("span", { role: "status", id: "log-say" });
  const go = async () => {
    const done = outcome.querySelector("input:checked").value;
    const row = { spot: spot.value, time: when.value.trim(), level: level.value.trim() ? typed(level.value) + " " + unit("level") : "", line: line.value, fly: fly.value, countdown_s: count.value.trim() ? String(typed(count.value)) : "", countdown_mode: mode.value, strip_m_s: strip.value.trim() ? String(typed(strip.value) * (unit("strip").startsWith("in") ? 0.0254 : unit("strip").startsWith("ft") ? 0.3048 : unit("strip").startsWith("cm") ? 0.01 : 1)) : "", touched: done === "clean" ? "no" : "yes", hung: done === "hung" ? "yes" : "no", caught: caught.value.trim() || "0", note: note.value.trim() };
    if (!row.spot) {
      toast("Choose the spot.");
      return;
    }
    await send([row], says);
  };
  return group("Add a cast", field("Spot", spot), field("Time", when, "Date, time and offset"), field("Line", line), field("Fly", fly),
    field("Counted, s", count), field("Countdown", mode), field("Strip, " + unit("strip"), strip), field("Gauge read, " + unit("level"), level, "Empty: looked up at that time"),
    outcome, field("Fish", caught), field("Note", note),
    el("div", { class: "row" }, button("Log this cast", go, { id: "log-go", class: "strong", disabled: !features("spots").length }), says));
}

// What the log teaches: each correction in words, with how many swims stand behind it and how sure it is.
let taught = null, taughtWrong = "";
async function fetchLearned() {
  if (!(model.river.log || []).length) {
    taught = null;
    paintLearned();
    return;
  }
  try {
    taught = await api("GET", "/api/learned");
    taughtWrong = "";
  } catch (error) {
    taught = null;
    taughtWrong = error.status === 404 ? "" : textOf(error);
  }
  paintLearned();
}

function paintLearned() {
  const root = byId("learned");
  if (root) root.replaceChildren(...learned());
}

function learned() {
  const parts = [el("h3", { id: "learned-h", text: "What was learned" })];
  if (!(model.river.log || []).length) return [...parts, el("p", { class: "hint", text: "Nothing yet: the log is empty." })];
  if (taughtWrong) return [...parts, el("p", { class: "notice", text: taughtWrong })];
  if (!taught) return [...parts, el("p", { class: "hint", text: "Working out what the log says." })];
  const spread = (mean, sd) => "± " + fixed(100 * mean * sd, 0);
  parts.push(el("p", { id: "learned-swims", text: taught.entries + (taught.entries === 1 ? " cast" : " casts") + " logged; " + (taught.swims === 1 ? "1 swim bears" : taught.swims + " swims bear") + " on a line or spot." }));
  if (taught.lines.length) parts.push(table("Lines", ["Line", "Sinks, against the label", "Swims"], taught.lines.map((one) => [name(one.line), el("span", {}, fixed(100 * one.sink_factor, 0) + " % " + spread(one.sink_factor, one.sink_ln_sd), el("span", { class: "hint", text: ", before " + spread(1, one.prior_ln_sd) })), String(one.swims)]), { class: "plain", id: "learned-lines" }));
  if (taught.spots.length) parts.push(table("Spots", ["Spot", "Bed, against the soundings", "Swims"], taught.spots.map((one) => {
    const spot = feature("spots", one.spot), off = one.depth_offset_m;
    return [name(spot ? titleOf("spots", spot) : one.spot), (Math.abs(off) < 0.01 ? "as sounded" : show(Math.abs(off), "depth") + (off > 0 ? " deeper" : " shallower")) + " ± " + show(one.depth_offset_sd_m, "depth"), String(one.swims)];
  }), { class: "plain", id: "learned-spots" }));
  const words = [...taught.lines, ...taught.spots].map((one) => one.words).filter(Boolean);
  if (words.length) parts.push(el("details", { class: "folded" }, el("summary", { text: "In words" }), el("ul", {}, words.map((text) => el("li", {}, el("bdi", { text: text }))))));
  if ((taught.notes || []).length) parts.push(el("ul", { class: "findings" }, taught.notes.map((text) => el("li", { class: "finding" }, el("bdi", { text: text })))));
  parts.push(el("p", { class: "hint", text: "A correction moves with each cast and goes when its casts are taken out of log.csv; Undo takes back the last ones." }));
  return parts;
}

function paint() {
  const log = (model.river.log || []).slice().reverse(), says = el("span", { role: "status" });
  byId("panel-log").replaceChildren(
    el("div", { id: "learned", tabindex: "-1", class: fresh ? "fresh" : "" }, learned()),
    el("div", { class: "drop" }, chooser("Bring in the log that the page saved", "The CSV file from the phone.", ".csv", async (file) => {
      const rows = readRows(await file.text());
      if (!rows.length || !("spot" in rows[0])) toast(file.name + ": no casts in it. The page saves a CSV with a column named spot.");
      else await send(rows, says);
    }, "file-log"), says),
    entry(),
    log.length ? table("Logged casts, newest first (" + log.length + ")", ["Spot", "When", "Line", "Fly", "Count", "Fly did"], log.slice(0, 100).map((row) => {
      const spot = feature("spots", row.spot), yes = (value) => /^(yes|true|1)$/i.test(String(value ?? ""));
      return [name(spot ? titleOf("spots", spot) : String(row.spot ?? "")), String(row.time ?? ""), name(String(row.line ?? "")), name(String(row.fly ?? "")), known(row.countdown_s) ? row.countdown_s + " s" : "", yes(row.hung) ? "hung" : yes(row.touched) ? "touched" : "did not touch"];
    }), { id: "log-table" }) : "");
}

export function startLog() {
  on("river", () => {
    const now = JSON.stringify([model.river.log, features("spots").map(idOf), model.river.units]);
    if (now === was) return;
    fresh = was !== "" && JSON.parse(was)[0].length !== (model.river.log || []).length;
    was = now;
    paint();
    fetchLearned();
  });
  on("saved", () => {
    const now = JSON.stringify([model.river.log, features("spots").map(idOf), model.river.units]);
    if (now === was || byId("panel-log").contains(document.activeElement)) return;
    was = now;
    paint();
  });
}
