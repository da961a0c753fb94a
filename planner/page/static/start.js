// Wires the controls and paints the planned level.

// A comma is a decimal one, unless it parts thousands as the page itself writes them: 1,200 of a discharge, 1,024.50.
function typedNumber(text, kind) {
  const thousands = kind === "level" ? /^[-+]?\d{1,3}(,\d{3})+\.\d+$/ : /^[-+]?\d{1,3}(,\d{3})+(\.\d+)?$/;
  return Number(thousands.test(text) ? text.replaceAll(",", "") : text.replace(",", "."));
}

function startLevels() {
  document.querySelectorAll(".ladder").forEach((root, l) => {
    const range = root.querySelector("input[type=range]"), field = root.querySelector("input[type=text]");
    range.addEventListener("input", () => setStep(l, Number(range.value)));
    for (const button of root.querySelectorAll("[data-step]")) {
      button.addEventListener("click", () => stepBy(l, Number(button.dataset.step)));
    }
    root.querySelector("form").addEventListener("submit", (event) => {
      event.preventDefault();
      const typed = typedNumber(field.value.trim(), data.ladders[l].kind), usable = field.value.trim() !== "" && Number.isFinite(typed);
      field.setAttribute("aria-invalid", usable ? "false" : "true");
      if (!usable) {
        const beyond = part(root, "beyond");
        beyond.hidden = false;
        say(beyond, "Type the reading as a number, such as " + number(data.ladders[l].at[0], data.ladders[l].kind) + ".");
        return;
      }
      state[l] = typed * data.units[data.ladders[l].kind][0];
      repaint();
    });
    root.querySelector("[data-back]").addEventListener("click", () => {
      state[l] = null;
      field.value = "";
      repaint();
      range.focus();
    });
  });
}

function startCard() {
  for (const button of document.querySelectorAll("[data-open]")) {
    button.addEventListener("click", () => openCard(Number(button.dataset.open), button));
  }
  byId("card-close").addEventListener("click", () => card.close());
  card.addEventListener("close", () => {
    stopTimer();
    cardSpot = -1;
    byId("card-body").dataset.key = "";
    if (cardFrom) cardFrom.focus();
  });
  for (const button of card.querySelectorAll("[data-go]")) {
    button.addEventListener("click", () => goCard(Number(button.dataset.go)));
  }
  for (const button of card.querySelectorAll("[data-card-step]")) {
    button.addEventListener("click", () => {
      stepBy(ladderOf(data.spots[cardSpot].run), Number(button.dataset.cardStep));
    });
  }
}

function startLegend() {
  for (const button of document.querySelectorAll("[data-by]")) {
    button.addEventListener("click", () => {
      colourBy = button.dataset.by;
      for (const other of document.querySelectorAll("[data-by]")) other.setAttribute("aria-pressed", String(other === button));
      for (const legend of document.querySelectorAll("[data-legend]")) legend.hidden = legend.dataset.legend !== colourBy;
      const unit = data.units[colourBy][1];
      say(document.querySelector('[data-k="legend-unit"]'), (colourBy === "depth" ? "Mean depth, " : "Current, ") + unit);
      paintMap(answers);
    });
  }
}

// While the slider is out of sight, caution and level stay in sight at the foot of the screen.
function startDock() {
  const dock = byId("dock"), watched = document.querySelector(".steps");
  if (!dock || !watched || !window.IntersectionObserver) return;
  new IntersectionObserver((seen) => {
    dock.hidden = seen[seen.length - 1].isIntersecting;
    document.documentElement.classList.toggle("docked", !dock.hidden);
  }).observe(watched);
  for (const button of dock.querySelectorAll("[data-dock-step]")) {
    button.addEventListener("click", () => stepBy(0, Number(button.dataset.dockStep)));
  }
}

// How old the reading is now, and whether the plan's day has passed: by the phone's own clock.
function startClock() {
  const now = Date.now();
  for (const node of document.querySelectorAll(".age-now")) {
    const seen = Date.parse(data.observed[Number(node.dataset.gauge)] || "");
    const hours = (now - seen) / 3600000;
    if (hours >= 1) say(node, hours < 48 ? "; now " + Math.round(hours) + " h old" : "; now " + Math.round(hours / 24) + " days old");
  }
  let today = "";
  try {
    today = new Intl.DateTimeFormat("en-CA", { timeZone: data.zone, year: "numeric", month: "2-digit", day: "2-digit" }).format(now);
  } catch (error) {
    return;
  }
  if (data.day && today > data.day && !data.invented) {
    const node = byId("past");
    say(node, "The day of this plan has passed. Its cautions and levels are out of date: make a new plan.");
    node.hidden = false;
  }
}

document.documentElement.classList.add("js");
startLevels();
startCard();
startRunCard();
startLog();
startLegend();
startClock();
startMap();
startWhere();
startGo();
startOnline();
repaint(true);
startDock();
startMapInTurn();
if (riverMap) settleLabels();
