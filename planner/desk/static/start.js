// Puts the parts together: the map and its tools, the panels behind their tabs, steps back and forward, and saving.
import { byId, el, say, speak, textOf, toast } from "./dom.js";
import { fitAll, map, startMap } from "./map.js";
import { setUnits } from "./units.js";
import { emit, model, on } from "./model.js";
import { clearStuck, load, look, setHistory, status, step, takeUpKept, unsavedCount, useRiver } from "./saving.js";
import { setTool, startDraw, toolNow, takeBack, drawnPoints } from "./draw.js";
import { startShapes } from "./shapes.js";
import { startBring } from "./bring.js";
import { startSoundings } from "./soundings.js";
import { startWater } from "./water.js";
import { startPlan } from "./plan.js";
import { startCaution } from "./caution.js";
import { startBox } from "./box.js";
import { startSettings } from "./settings.js";
import { startLog } from "./log.js";
import { firstRun } from "./first.js";

function startTabs() {
  const tabs = [...document.querySelectorAll('[role="tab"]')];
  const choose = (tab, focus) => {
    for (const one of tabs) {
      const chosen = one === tab;
      one.setAttribute("aria-selected", String(chosen));
      one.tabIndex = chosen ? 0 : -1;
      byId(one.getAttribute("aria-controls")).hidden = !chosen;
    }
    if (focus) tab.focus();
    emit("tab", tab.id.slice(4));
  };
  tabs.forEach((tab, i) => {
    tab.addEventListener("click", () => {
      if (tab.getAttribute("aria-selected") !== "true") choose(tab);
    });
    tab.addEventListener("keydown", (event) => {
      const to = { ArrowRight: i + 1, ArrowLeft: i - 1, Home: 0, End: tabs.length - 1 }[event.key];
      if (to === undefined) return;
      event.preventDefault();
      choose(tabs[(to + tabs.length) % tabs.length], true);
    });
  });
}

function startSteps() {
  const back = () => (toolNow() !== "pick" && drawnPoints().length ? takeBack() : step("back"));
  byId("back").addEventListener("click", back);
  byId("forward").addEventListener("click", () => step("forward"));
  document.addEventListener("keydown", (event) => {
    if (!(event.ctrlKey || event.metaKey) || event.altKey || document.querySelector("dialog[open]")) return;
    // in a field the browser's own undo of typing stays
    if (event.target.closest("input, textarea, select")) return;
    const key = event.key.toLowerCase();
    if (key === "z" && !event.shiftKey) back();
    else if (key === "y" || (key === "z" && event.shiftKey)) step("forward");
    else return;
    event.preventDefault();
  });
}

function startOnline() {
  let layer = null;
  on("river", () => {
    const online = model.river.online, below = byId("map-below");
    if (!online || below.querySelector("button")) return;
    const says = el("span", { role: "status" });
    const pressed = el("button", { type: "button", "aria-pressed": "false", text: "Background map from the network" });
    pressed.addEventListener("click", () => {
      const now = pressed.getAttribute("aria-pressed") !== "true";
      layer = layer || window.L.tileLayer(online.url, { maxNativeZoom: online.zoom, maxZoom: 22 }).on("tileerror", () => say(says, "No signal for the background map. The rest works without it."));
      if (now) layer.addTo(map);
      else layer.remove();
      pressed.setAttribute("aria-pressed", String(now));
      say(says, now ? online.credit + "." : "");
    });
    below.append(el("p", { class: "row" }, pressed, says));
  });
}

function begin(river) {
  setUnits(river.units);
  useTitle(river);
}

function useTitle(river) {
  const title = (river.settings && river.settings.name) || river.folder_name || "River";
  byId("river-name").replaceChildren(el("bdi", { text: title }));
  document.title = title + " · Plumbrun desk";
}

let fitted = false;
function whenRead() {
  const river = model.river;
  setUnits(river.units);
  useTitle(river);
  if (!fitted) {
    fitted = true;
    fitAll();
  }
}

async function start() {
  startTabs();
  on("river", whenRead);
  startMap();
  startDraw();
  startCaution();
  startWater();
  startShapes();
  startBring();
  startSoundings();
  startPlan();
  startBox();
  startSettings();
  startLog();
  startOnline();
  startSteps();
  on("saved", clearStuck);
  on("elsewhere", (words) => {
    toast(words);
    speak(words);
  });
  window.addEventListener("beforeunload", (event) => {
    if (unsavedCount()) event.preventDefault();
  });
  window.addEventListener("online", look);
  document.addEventListener("visibilitychange", look);
  setInterval(look, 3000);
  if (document.body.dataset.started === "false") {
    status("no folder yet", "busy");
    firstRun((river) => {
      document.body.dataset.started = "true";
      if (river && river.runs) {
        begin(river);
        useRiver(river);
      } else load();
      setTool("pick");
      toast("The folder is made. Draw the flowline and the first run.");
    });
    return;
  }
  try {
    const river = await load();
    if (river.new) {
      firstRun((made) => {
        begin(made);
        useRiver(made);
      });
      return;
    }
    takeUpKept();
  } catch (error) {
    status("the folder could not be opened", "wrong");
    byId("alerts").replaceChildren(el("p", { class: "notice", text: textOf(error) }));
    setHistory(null);
  }
  document.documentElement.dataset.ready = "true";
}

start();
