// Writes the answers of one level into the page: cautions first, then the level itself, spots, runs, map and card.
const rows = {
  spots: Array.from(document.querySelectorAll("#spots tr[data-spot]")).map(cells),
  runs: Array.from(document.querySelectorAll("#runs tr[data-run]")).map(cells),
};
const charts = data.ladders.map((ladder, l) => {
  const root = document.querySelector('[data-chart="' + l + '"]');
  return root ? { root: root, now: part(root, "chart-now") } : null;
});
let answers = null;
let spoken = 0;

function cells(row) {
  const found = { row: row };
  for (const cell of row.querySelectorAll("[data-k]")) found[cell.dataset.k] = cell;
  return found;
}

function list(node, items, make) {
  const key = JSON.stringify(items);
  if (node.dataset.key === key) return;
  node.dataset.key = key;
  node.replaceChildren(...items.map(make));
}

function reasonNode(reason) {
  const item = el("li");
  item.append(markNode(reason[0], levelLine(reason[0])), " ", el("span", "", words(reason[1])));
  return item;
}

function paintCautions() {
  const root = byId("cautions"), caution = answers.caution;
  paintMark(part(root, "caution"), caution);
  const reasons = caution.reasons.slice().sort((a, b) => b[0] - a[0]);
  const seen = Math.max(1, reasons.filter((reason) => reason[0] >= 2).length), folded = reasons.slice(seen);
  list(part(root, "reasons"), reasons.slice(0, seen), reasonNode);
  list(part(root, "folded-list"), folded, reasonNode);
  say(part(root, "folded-count"), folded.length + " more heads-up" + (folded.length === 1 ? "" : "s"));
  part(root, "folded").hidden = folded.length === 0;
  say(part(root, "checks"), caution.checks);
  list(part(root, "low"), caution.low, (note) => el("li", "", words(note)));
  const unmade = caution.missing.map((row) => words(row[1]) || words(row[0])).concat(caution.noNotes.map((note) => "Low water: " + words(note)));
  list(part(root, "unmade-list"), unmade, (line) => el("li", "", line));
  say(part(root, "unmade-count"), "" + caution.missing.length);
  part(root, "unmade").hidden = unmade.length === 0;
}

function paintLevels() {
  document.querySelectorAll(".ladder").forEach((root, l) => {
    const ladder = data.ladders[l], where = answers.places[l], range = root.querySelector("input[type=range]");
    const value = where ? state[l] : ladder.planned;
    say(part(root, "reading"), known(value) ? show(value, ladder.kind) : "planned level not known");
    let note = "the planned level";
    if (where) note = where.beyond ? "outside the levels worked out" : where.lower !== where.upper ? "between two steps" : "";
    say(part(root, "reading-note"), note);
    range.value = stepNow(l).lower;
    range.setAttribute("aria-valuetext", known(value) ? show(value, ladder.kind) + (note ? ", " + note : "") : "not known");
    const beyond = part(root, "beyond"), end = where && ladder.at[where.beyond > 0 ? ladder.at.length - 1 : 0];
    const text = where && where.beyond
      ? show(value, ladder.kind) + " is " + (where.beyond > 0 ? "above the highest" : "below the lowest") + " level worked out, "
        + show(end, ladder.kind) + ". The slider stays at that end. Depth, current and count are not known at your reading; cautions raised at the end stand, the rest is not assessed."
      : "";
    say(beyond, text);
    beyond.hidden = !text;
    root.querySelector("[data-back]").disabled = !where;
    paintChart(l, where ? value : null);
  });
}

// The level that is set, across the hours to come; at the drawing's edge when it lies beyond it.
function paintChart(l, value) {
  const drawn = charts[l];
  if (!drawn) return;
  const d = drawn.root.dataset, top = Number(d.top), bottom = Number(d.bottom);
  drawn.now.classList.toggle("shown", known(value));
  if (!known(value)) return;
  const share = Math.min(1, Math.max(0, (top - value) / (top - bottom)));
  drawn.now.setAttribute("transform", "translate(0 " + (Number(d.y) + share * Number(d.high)).toFixed(1) + ")");
  say(drawn.now.lastChild, "set " + show(value, data.ladders[l].kind));
}

function short(caution) {
  return { level: caution.level, line: caution.short };
}

function paintSpots() {
  rows.spots.forEach((row, i) => {
    const a = answers.spots[i];
    paintMark(row.caution.querySelector(".mark"), short(a.caution));
    say(row.count, countWords(a));
    say(row.line, a.line || a.why || "No line in the box reaches here at this level.");
    say(row.fly, (a.fly || "–") + (known(a.leader) ? ", leader " + show(a.leader, "depth") : ""));
    say(row.strip, known(a.strip) ? show(a.strip, "strip") : "–");
    say(row.depth, show(a.depth, "depth"));
    say(row.speed, show(a.speed, "speed"));
    say(row.touch, known(a.touch) ? percent(a.touch) : "–");
    row.row.classList.toggle("none", !a.line);
  });
}

function paintRuns() {
  rows.runs.forEach((row, i) => {
    const a = answers.runs[i];
    paintMark(row.caution.querySelector(".mark"), short(a.caution));
    paintClass(row.depth.firstElementChild, "depth", a.depth);
    say(row.depth.lastChild, " " + show(a.depth, "depth"));
    paintClass(row.speed.firstElementChild, "speed", a.speed);
    say(row.speed.lastChild, " " + span(a.low, a.high, "speed"));
    say(row.level, known(a.level) ? (a.level >= 0 ? "+" : "−") + show(Math.abs(a.level), "depth") : "unknown");
  });
}

function levelWords() {
  return data.ladders.map((ladder, l) => {
    const value = answers.places[l] ? state[l] : ladder.planned;
    return known(value) ? show(value, ladder.kind) : "the planned level";
  }).join(" and ");
}

// One short sentence, after the slider has come to rest, for ears and eyes.
function speak() {
  const node = byId("answer");
  if (!node) return;
  const beyond = answers.places.some((where) => where && where.beyond);
  const found = answers.spots.filter((spot) => spot.line).length;
  say(node, "At " + levelWords() + (answers.planned ? " (planned)" : "") + ": " + answers.caution.line + ". "
    + (beyond ? "Your reading is outside the levels worked out: no count holds there."
      : found + " of " + answers.spots.length + " spots have a line that reaches the hold band."));
}

// The map's labels cost as much as all the rest. In sight they change with the slider; out of sight, when it rests.
let mapSeen = true;
let mapDue = null;

function paintMapInTurn() {
  clearTimeout(mapDue);
  if (mapSeen) paintMap(answers);
  else mapDue = setTimeout(() => paintMap(answers), 80);
}

function startMapInTurn() {
  if (!mapNode || !window.IntersectionObserver) return;
  new IntersectionObserver((seen) => {
    mapSeen = seen[seen.length - 1].isIntersecting;
    if (mapSeen) paintMapInTurn();
  }, { rootMargin: "100px" }).observe(mapNode);
  window.addEventListener("beforeprint", () => paintMap(answers));
}

function repaint(quiet) {
  answers = answersNow();
  paintCautions();
  paintLevels();
  paintSpots();
  paintRuns();
  paintMapInTurn();
  const caption = document.querySelector('[data-k="table-level"]');
  if (caption) say(caption, "At " + levelWords() + (answers.planned ? ", the planned level." : "."));
  const dock = byId("dock");
  if (dock) {
    paintMark(part(dock, "dock-caution"), { level: answers.caution.level, line: answers.caution.short });
    say(part(dock, "dock-level"), "Gauge " + levelWords());
  }
  paintCard();
  paintRunCard();
  clearTimeout(spoken);
  if (quiet) speak();
  else spoken = setTimeout(speak, 350);
}
