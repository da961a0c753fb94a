// The card of a run: level, depth, current, the bed across it, and what its soundings are worth.
const runCard = byId("run-card");
let cardRun = -1;
let runOpener = null;

function openRun(i, from) {
  cardRun = i;
  runOpener = from || runOpener;
  byId("run-card-body").dataset.key = "";
  paintRunCard();
  if (!runCard.open) runCard.showModal();
  byId("run-card-h").focus();
  runCard.scrollTop = 0;
}

function goRun(by) {
  openRun((cardRun + by + data.runs.length) % data.runs.length, null);
  runOpener = document.querySelector('[data-open-run="' + cardRun + '"]');
}

function runLevel(level) {
  if (!known(level)) return "";
  const away = show(Math.abs(level), "depth");
  return away + (level >= 0 ? " above" : " below") + " the water of the day it was sounded";
}

function currents(run) {
  const manning = run.velocity_manning_m_s, continuity = run.velocity_continuity_m_s;
  if (!known(manning)) return "No second estimate: Manning's equation needs a slope and a bed.";
  if (!known(continuity)) return "By slope and bed " + show(manning, "speed") + "; discharge and soundings give no second estimate here.";
  const ratio = manning / continuity;
  return "By slope and bed " + show(manning, "speed") + ", by discharge and soundings " + show(continuity, "speed")
    + ": the first is " + ratio.toFixed(2) + " times the second" + (ratio > 1.5 || ratio < 0.67 ? ". They disagree; trust neither closely" : "") + ".";
}

function paintRunCard() {
  if (cardRun < 0 || !answers) return;
  const a = answers.runs[cardRun], run = data.runs[cardRun];
  byId("run-card-h").replaceChildren(el("bdi", "", run.name));
  cardCautions(part(runCard, "card-caution"), "This run", a.caution, null);
  say(part(runCard, "card-level"), "Gauge " + levelWords() + (answers.planned ? ", planned" : ""));
  const body = byId("run-card-body"), key = JSON.stringify([cardRun, a.level, a.depth, a.low, a.high, answers.planned]);
  if (body.dataset.key === key) return;
  body.dataset.key = key;
  body.replaceChildren();
  const facts = el("dl", "facts");
  const classed = (kind, value, text) => (known(value) ? text + ", class " + classOf(kind, value)[0] : "unknown");
  fact(facts, "Mean depth", classed("depth", a.depth, show(a.depth, "depth")));
  if (answers.planned) fact(facts, "Deepest", known(run.max_depth_m) ? show(run.max_depth_m, "depth") : "");
  fact(facts, "Current, mean of the section", known(a.low)
    ? classed("speed", a.speed, (known(a.speed) ? show(a.speed, "speed") + " (" + span(a.low, a.high, "speed") + ")" : span(a.low, a.high, "speed")))
    : "unknown", "wide");
  fact(facts, "Level", runLevel(a.level), "wide");
  body.appendChild(facts);
  const view = sectionView(cardRun);
  body.appendChild(view || el("p", "note", a.beyond
    ? "Your reading is outside the levels worked out: depth and current are not known there."
    : "No bed is known across this run at this level: its soundings do not carry a section."));
  const worth = el("dl", "facts");
  fact(worth, "Soundings", run.soundings + (known(run.bed_error_m) ? "; a left-out one is missed by about " + show(run.bed_error_m, "depth") : ""), "wide");
  fact(worth, "Two estimates of the current, planned level", currents(run), "wide why");
  const rough = known(run.n_calibrated) ? run.n_calibrated.toFixed(3) + " from the soundings (bed class: " + (known(run.n) ? run.n.toFixed(3) : "none") + ")" : known(run.n) ? run.n.toFixed(3) + " from the bed class" : "";
  fact(worth, "Roughness n", rough);
  fact(worth, "Slope", known(run.slope) ? (1000 * run.slope).toPrecision(2) + " in 1,000" : "");
  body.appendChild(worth);
  if (run.limits.length) {
    const limits = el("ul", "limits");
    for (const limit of run.limits) limits.appendChild(el("li", "", limit));
    body.append(el("h3", "", "What weakens it"), limits);
  }
  const casts = data.spots.map((spot, i) => [spot, i]).filter((pair) => pair[0].run === cardRun);
  if (!casts.length) return;
  body.appendChild(el("h3", "", "Spots here"));
  const buttons = el("div", "run-spots");
  for (const [spot, i] of casts) {
    const button = el("button", "", "");
    button.type = "button";
    button.append(el("span", "number", "" + (i + 1)), " ", el("bdi", "", spot.name));
    button.addEventListener("click", () => {
      runCard.close();
      openCard(i, document.querySelector('[data-open="' + i + '"]'));
    });
    buttons.appendChild(button);
  }
  body.appendChild(buttons);
}

function startRunCard() {
  for (const button of document.querySelectorAll("[data-open-run]")) {
    button.addEventListener("click", () => openRun(Number(button.dataset.openRun), button));
  }
  byId("run-card-close").addEventListener("click", () => runCard.close());
  runCard.addEventListener("close", () => {
    cardRun = -1;
    if (runOpener && !card.open) runOpener.focus();
  });
  for (const button of runCard.querySelectorAll("[data-go]")) {
    button.addEventListener("click", () => goRun(Number(button.dataset.go)));
  }
  for (const button of runCard.querySelectorAll("[data-card-step]")) {
    button.addEventListener("click", () => stepBy(ladderOf(cardRun), Number(button.dataset.cardStep)));
  }
}
