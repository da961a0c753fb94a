// Cautions at the top of the side: the highest of all that is known for the level and day asked; else not assessed.
import { byId, el, name, say } from "./dom.js";
import { rules } from "./units.js";

const SVG = "http://www.w3.org/2000/svg";
let held = new Map();

export function signOf(level) {
  const sign = document.createElementNS(SVG, "svg"), use = document.createElementNS(SVG, "use");
  for (const [key, value] of [["class", "sign"], ["viewBox", "0 0 48 48"], ["aria-hidden", "true"], ["focusable", "false"]]) sign.setAttribute(key, value);
  use.setAttribute("href", "#lv" + (level === null || level === undefined ? "n" : level));
  sign.append(use);
  return sign;
}

export function lineOf(caution) {
  const level = caution ? caution.level : null;
  if (level === null || level === undefined) return "Caution not assessed";
  if (level === 0) return "No caution raised";
  return "Caution " + level + " of 3: " + (caution.label || rules.levels[level]);
}

export function markOf(caution) {
  return el("span", { class: "mark" }, signOf(caution ? caution.level : null), el("span", { class: "mark-text", text: lineOf(caution) }));
}

export function reasonList(caution, least) {
  const reasons = ((caution && caution.reasons) || []).filter((one) => one.level !== null && one.level >= (least ?? 1));
  return reasons.sort((a, b) => b.level - a.level).map((one) => el("li", {}, signOf(one.level), el("span", {}, el("span", { class: "hide", text: one.level + ": " + (rules.levels[one.level] || "") + ". " }), el("bdi", { text: one.text }))));
}

// A caution holds for its key ("day", "run x", "spot y") until the level or the day asked changes.
export function setCaution(key, caution, of) {
  held.delete(key);
  if (caution) held.set(key, { caution: caution, of: of });
  paint();
}

export function forgetCautions() {
  held = new Map();
  paint();
}

function paint() {
  const day = held.get("plan") || held.get("day"), all = [...held.values()];
  let top = null;
  for (const one of all) {
    const level = one.caution.level;
    if (level !== null && level !== undefined && (!top || level > top.caution.level)) top = one;
  }
  // without the day's own caution nothing may read as if it had been looked at
  const shown = top && (day || top.caution.level > 0) ? top.caution : null;
  byId("cautions-h").replaceChildren(markOf(shown));
  const reasons = new Map();
  for (const one of all) for (const reason of one.caution.reasons || []) if (reason.level >= 1 && !reasons.has(reason.text)) reasons.set(reason.text, reason);
  const list = reasonList({ reasons: [...reasons.values()] });
  const box = byId("caution-reasons"), open = box.querySelector("details") && box.querySelector("details").open;
  const parts = [];
  if (list.length) {
    const seen = Math.max(1, [...reasons.values()].filter((one) => one.level >= 2).length);
    parts.push(el("ul", { class: "reasons" }, list.slice(0, seen)));
    if (list.length > seen) {
      const fold = el("details", { class: "folded" }, el("summary", { text: list.length - seen + " more heads-up" + (list.length - seen === 1 ? "" : "s") }), el("ul", { class: "reasons" }, list.slice(seen)));
      fold.open = Boolean(open);
      parts.push(fold);
    }
  }
  if (!day) {
    const from = all.length ? "Looked at so far: " : "";
    parts.push(el("p", { class: "of" }, from, all.flatMap((one, i) => [i ? ", " : "", name(one.of)]), all.length ? ". The day as a whole is not assessed." : "The day is not assessed yet."));
  }
  box.replaceChildren(...parts);
  const counted = (day || top || { caution: {} }).caution;
  say(byId("caution-checks"), counted.checks === undefined
    ? "No check could be made. Missing input never lowers a level."
    : counted.level === 0 && day
      ? rules.no_caution.replace("{assessed}", counted.assessed).replace("{checks}", counted.checks)
      : counted.assessed + " of " + counted.checks + " checks could be made. This is not advice that the river is fit to use.");
}

export function startCaution() {
  paint();
}
