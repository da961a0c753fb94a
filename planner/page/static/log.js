// The log: what happened at each cast. Kept by the browser under the trip's name, saved as a file for log.csv.
// A browser may refuse to keep anything, or clear it: the page says which holds, and asks before a log is lost.
const LOG_HEAD = ["spot", "time", "level", "line", "fly", "countdown_s", "touched", "caught", "note", "hung", "countdown_mode", "strip_m_s"];
let casts = [];
let kept = true;
let counted = 0;

function readLog() {
  const text = recall(data.trip);
  try {
    const found = JSON.parse(text || "[]");
    return Array.isArray(found) ? found.filter((cast) => cast && cast.key && cast.spot && known(cast.at)) : [];
  } catch (error) {
    return [];
  }
}

function unfiled() {
  return casts.filter((cast) => !cast.filed).length;
}

function keepLog() {
  kept = keep(data.trip, JSON.stringify(casts));
}

// The same page may be open twice: what the other one logged is taken in before this one writes.
function takeIn() {
  if (!kept) return;
  const here = new Set(casts.map((cast) => cast.key));
  for (const cast of readLog()) if (!here.has(cast.key)) casts.push(cast);
  casts.sort((a, b) => a.at - b.at);
}

function zoned(moment) {
  const away = -moment.getTimezoneOffset(), two = (n) => String(Math.floor(Math.abs(n))).padStart(2, "0");
  const local = new Date(moment.getTime() + away * 60000).toISOString().slice(0, 19);
  return local + (away < 0 ? "-" : "+") + two(away / 60) + ":" + two(away % 60);
}

function clockOf(cast) {
  return new Intl.DateTimeFormat("en-GB", { hour: "2-digit", minute: "2-digit", timeZone: data.zone }).format(cast.at);
}

function setCounted(seconds) {
  counted = Math.max(0, Math.min(600, Math.round(seconds)));
  say(byId("counted"), counted + " s");
}

function startCount(a) {
  setCounted(known(a.from) ? (a.from + a.to) / 2 : 0);
  say(byId("card-log-says"), "");
}

function logCast(what) {
  const a = answers.spots[cardSpot], now = new Date(), l = Math.max(0, ladderOf(data.spots[cardSpot].run));
  const ladder = data.ladders[l], level = ladder ? (state[l] === null ? ladder.planned : state[l]) : null;
  takeIn();
  casts.push({
    key: now.getTime() + "-" + Math.random().toString(36).slice(2, 8), at: now.getTime(), spot: data.spots[cardSpot].id,
    name: cardSpot + 1 + " " + data.spots[cardSpot].name, time: zoned(now),
    level: known(level) ? show(level, ladder.kind).replace(",", "") : "", line: a.line || "", fly: a.fly || "",
    count: counted, what: what, mode: a.mode || "", strip: known(a.strip) ? a.strip : "", note: state[l] === null ? "level as planned" : "level as set on the page",
  });
  keepLog();
  paintLog();
  say(byId("card-log-says"), OUTCOMES[what] + " at " + counted + " s logged. " + tally());
}

const OUTCOMES = { clean: "Clean", touched: "Touched", hung: "Hung", caught: "Caught" };

function tally() {
  const open = unfiled();
  if (!casts.length) return "Nothing is logged yet. Open a spot and say how the cast went.";
  return casts.length + (casts.length === 1 ? " cast" : " casts") + " logged, " + (open > 0 ? open + " not yet in a file." : "all in a file.")
    + (kept ? "" : " This browser keeps nothing: save the file before you close the page.");
}

function field(value) {
  const text = String(value === null || value === undefined ? "" : value);
  return /[",\r\n]/.test(text) ? '"' + text.replaceAll('"', '""') + '"' : text;
}

function logText() {
  const rows = casts.map((c) => [c.spot, c.time, c.level, c.line, c.fly, c.count, c.what === "touched" || c.what === "hung" ? "yes" : "no",
    c.what === "caught" ? 1 : 0, c.note, c.what === "hung" ? "yes" : "no", c.mode, c.strip]);
  return [LOG_HEAD].concat(rows).map((row) => row.map(field).join(",")).join("\n") + "\n";
}

function paintLog() {
  say(byId("log-says"), tally());
  const table = byId("log-table"), body = table.tBodies[0];
  table.hidden = !casts.length;
  body.replaceChildren(...casts.slice().reverse().map((cast) => {
    const row = el("tr"), cell = (words) => row.appendChild(el("td", "", words));
    cell(clockOf(cast));
    row.appendChild(el("th")).appendChild(el("bdi", "", cast.name));
    row.lastChild.scope = "row";
    cell(cast.count + " s");
    cell(OUTCOMES[cast.what] || cast.what);
    const button = el("button", "", "Remove");
    button.type = "button";
    button.setAttribute("aria-label", "Remove the cast of " + clockOf(cast) + " at " + cast.name);
    button.addEventListener("click", () => removeCast(cast.key));
    row.appendChild(el("td")).appendChild(button);
    return row;
  }));
  byId("log-save").disabled = byId("log-clear").disabled = !casts.length;
  byId("log-copy").hidden = !casts.length;
  byId("log-text").value = casts.length ? logText() : "";
  if (byId("log-clear").dataset.asked) askClear(false);
}

function removeCast(key) {
  takeIn();
  const at = casts.findIndex((cast) => cast.key === key);
  if (at < 0) return;
  casts.splice(at, 1);
  keepLog();
  paintLog();
  byId("log-says").scrollIntoView({ block: "nearest" });
}

function saveLog() {
  takeIn();
  const link = el("a"), address = URL.createObjectURL(new Blob([logText()], { type: "text/csv" }));
  link.href = address;
  link.download = "log-" + data.day + ".csv";
  link.click();
  setTimeout(() => URL.revokeObjectURL(address), 10000);
  for (const cast of casts) cast.filed = true;
  keepLog();
  paintLog();
}

// Removing takes two presses; the second says what would be lost.
function askClear(on) {
  const button = byId("log-clear");
  if (on) button.dataset.asked = "yes";
  else delete button.dataset.asked;
  const open = unfiled();
  say(button, on ? "Press again: " + casts.length + " removed" + (open > 0 ? ", " + open + " in no file" : "") : "Remove all");
}

function startLog() {
  casts = readLog();
  keepLog();
  paintLog();
  byId("log-save").addEventListener("click", saveLog);
  byId("log-clear").addEventListener("click", (event) => {
    if (!event.currentTarget.dataset.asked) return askClear(true);
    casts = [];
    keepLog();
    paintLog();
  });
  byId("log-clear").addEventListener("blur", () => askClear(false));
  for (const button of card.querySelectorAll("[data-outcome]")) button.addEventListener("click", () => logCast(button.dataset.outcome));
  for (const button of card.querySelectorAll("[data-count]")) {
    button.addEventListener("click", () => setCounted(counted + Number(button.dataset.count)));
  }
  window.addEventListener("storage", (event) => {
    if (event.key !== data.trip) return;
    casts = readLog();
    paintLog();
  });
  window.addEventListener("beforeunload", (event) => {
    if (!kept && unfiled()) event.preventDefault();
  });
}
