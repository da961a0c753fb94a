// The card of a spot: what to do there at the level that is set, and a countdown to hold it to.
const card = byId("card");
let cardSpot = -1;
let cardFrom = null;
let timer = null;

function fact(parent, label, value, className) {
  if (!value) return;
  const row = el("div", "fact" + (className ? " " + className : ""));
  row.append(el("dt", "", label), el("dd", "", value));
  parent.appendChild(row);
}

function openCard(i, from) {
  stopTimer();
  cardSpot = i;
  cardFrom = from || cardFrom;
  paintCard();
  if (!card.open) card.showModal();
  byId("card-h").focus();
  card.scrollTop = 0;
}

function goCard(by) {
  openCard((cardSpot + by + data.spots.length) % data.spots.length, null);
  cardFrom = document.querySelector('[data-open="' + cardSpot + '"]');
}

// The thing's own caution with its reasons, after those of run and day where they are higher.
function cardCautions(node, own, caution, run) {
  const items = [];
  if (height(answers.caution) > height(caution)) items.push(["The day", answers.caution]);
  if (known(run) && height(answers.runs[run].caution) > height(caution)) items.push(["This run", answers.runs[run].caution]);
  items.push([own, caution]);
  list(node, items.map((item) => [item[0], item[1].level, item[1].line, item[0] === own
    ? item[1].reasons.filter((reason) => words(reason[1])) : []]), (item) => {
    const row = el("div", "card-mark");
    row.append(el("span", "card-who", item[0]), markNode(item[1], item[2]));
    if (item[3].length) row.appendChild(el("ul", "reasons")).append(...item[3].map(reasonNode));
    return row;
  });
}

function paintCard() {
  if (cardSpot < 0 || !answers) return;
  const a = answers.spots[cardSpot], fixedPart = data.spots[cardSpot], planned = Boolean(a.planned);
  const title = byId("card-h");
  title.replaceChildren(el("span", "number", "" + (cardSpot + 1)), " ", el("bdi", "", fixedPart.name));
  cardCautions(part(card, "card-caution"), "This spot", a.caution, data.spots[cardSpot].run);
  const level = part(card, "card-level");
  if (level) say(level, "Gauge " + levelWords() + (planned ? ", planned" : ""));
  const body = byId("card-body");
  const key = JSON.stringify([cardSpot, planned, a.depth, a.speed, a.line, a.fly, a.from, a.to, a.caution.level]);
  if (body.dataset.key === key) return;
  body.dataset.key = key;
  stopTimer();
  startCount(a);
  body.replaceChildren();
  if (a.line) cardAnswer(body, a, fixedPart, planned);
  else {
    body.appendChild(el("p", "none-because" + (a.beyond ? " beyond" : ""), a.why || "No line in the box reaches the hold band here at this level."));
  }
  const facts = el("dl", "facts");
  const range = (value, pair, kind) => show(value, kind) + (planned && known(pair[0]) ? " (" + span(pair[0], pair[1], kind) + ")" : "");
  if (!a.line) fact(facts, "Cast", known(fixedPart.cast[0]) ? show(fixedPart.cast[0], "length") + ", " + fixedPart.cast[1] : "");
  if (!a.line && planned) fact(facts, "What hangs least", words(fixedPart.least), "wide");
  fact(facts, "Stance", fixedPart.stanceWord + (fixedPart.stance[0] > 0.02 ? ", water there about " + show(fixedPart.stance[0], "depth")
    + (known(fixedPart.stance[1]) ? " at " + show(fixedPart.stance[1], "speed") : "") + " at the planned level" : ""));
  fact(facts, "Depth where the fly lands", range(a.depth, fixedPart.depth, "depth"));
  fact(facts, "Current there", range(a.speed, fixedPart.speed, "speed"));
  if (!a.line && planned) moreFacts(facts, fixedPart);
  fact(facts, "Arrive", fixedPart.at);
  body.appendChild(facts);
}

function cardAnswer(body, a, fixedPart, planned) {
  const big = el("div", "big");
  big.append(el("p", "big-label", "Count before the first strip"), el("p", "big-number", windowWords(a.from, a.to)));
  const mode = data.modes[a.mode || ""] || a.mode;
  if (mode) big.appendChild(el("p", "big-mode", mode));
  const button = el("button", "timer", "Start the count");
  button.type = "button";
  const says = el("p", "timer-says");
  says.setAttribute("role", "status");
  button.addEventListener("click", () => runTimer(button, says, a));
  big.append(button, says);
  body.appendChild(big);
  const facts = el("dl", "facts");
  fact(facts, "Line", a.line, "wide");
  fact(facts, "Fly", a.fly, "wide");
  if (known(a.leader)) fact(facts, "Leader", "about " + show(a.leader, "depth") + ", not the box’s own", "wide");
  fact(facts, "Strip", show(a.strip, "strip"));
  fact(facts, "Lift the rod when the fly is", known(a.lift) ? show(a.lift, "length") + " away" : "");
  fact(facts, "Cast", known(fixedPart.cast[0]) ? show(fixedPart.cast[0], "length") + ", " + fixedPart.cast[1] : "", "wide");
  fact(facts, "The fly swims at", a.flyDepth ? show(a.flyDepth[1], "depth") + " (" + span(a.flyDepth[0], a.flyDepth[2], "depth") + ")" : "");
  body.appendChild(facts);
  const view = sideView(cardSpot, planned ? fixedPart.swim : a.swim && swimOf(a.swim)) || columnView(a, fixedPart.hold);
  if (view) body.appendChild(view);
  const more = el("dl", "facts");
  fact(more, "Touches the bed", known(a.touch) ? "in " + percent(a.touch) + " of casts" : "");
  fact(more, "Hangs up", known(a.hang) ? "in " + percent(a.hang) + " of casts" : "");
  fact(more, "Time in the hold band", known(a.band) ? a.band.toFixed(0) + " s" : "");
  const next = planned ? fixedPart.next : null;
  fact(more, "Next best", next ? [words(next[0]), words(next[1]), words(next[2])].filter(Boolean).join(", ") : "", "wide");
  fact(more, "Why", a.why, "wide why");
  if (planned) moreFacts(more, fixedPart);
  body.appendChild(more);
}

// Tips, the steps beside the planned level, what matters most and what the log taught: known at the planned level only.
function moreFacts(parent, fixedPart) {
  for (const pair of fixedPart.more) fact(parent, words(pair[0]), words(pair[1]), "wide why");
}

function stopTimer() {
  if (!timer) return;
  clearInterval(timer.tick);
  say(timer.button, "Start the count");
  timer = null;
}

function buzz(pattern) {
  if (navigator.vibrate) navigator.vibrate(pattern);
}

function runTimer(button, says, a) {
  if (timer) {
    const gone = Math.round((performance.now() - timer.began) / 1000);
    stopTimer();
    setCounted(gone);
    say(says, "Stopped at " + gone + " s.");
    return;
  }
  const began = performance.now(), from = Math.round(a.from), to = Math.round(a.to);
  let phase = "";
  const tick = () => {
    const gone = (performance.now() - began) / 1000;
    const now = gone < from ? "sink" : gone <= Math.max(to, from + 1) ? "strip" : "past";
    say(button, now === "sink" ? Math.ceil(from - gone) + "" : now === "strip" ? "Strip" : "Start the count");
    if (now === phase) return;
    phase = now;
    if (now === "sink") say(says, "Counting " + from + " seconds.");
    if (now === "strip") {
      say(says, "Strip now.");
      buzz([200, 80, 200]);
    }
    if (now === "past") {
      say(says, "The window has passed; the fly may be on the bed.");
      buzz(500);
      stopTimer();
    }
  };
  timer = { button: button, began: began, tick: setInterval(tick, 100) };
  tick();
}
