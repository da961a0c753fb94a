// Number forms and classes in the reader's units; inside, everything is SI.
import { byId, el } from "./dom.js";

export const rules = JSON.parse(byId("desk-rules").textContent);
let system = "us";
const formats = {};

export function setUnits(units) {
  system = units === "metric" ? "metric" : "us";
}

export function units() {
  return system;
}

export function known(value) {
  return value !== null && value !== undefined && value !== "" && Number.isFinite(Number(value));
}

export function rule(kind) {
  return rules.units[system][kind];
}

export function unit(kind) {
  return rule(kind)[1];
}

export function fixed(value, digits) {
  if (!formats[digits]) {
    formats[digits] = new Intl.NumberFormat("en-US", { minimumFractionDigits: digits, maximumFractionDigits: digits });
  }
  return formats[digits].format(value);
}

export function number(value, kind) {
  return fixed(value / rule(kind)[0], rule(kind)[2]);
}

export function show(value, kind) {
  return known(value) ? number(value, kind) + " " + unit(kind) : "unknown";
}

export function span(low, high, kind) {
  if (!known(low) || !known(high)) return show(known(low) ? low : high, kind);
  const first = number(low, kind), last = number(high, kind);
  return (first === last ? last : first + " to " + last) + " " + unit(kind);
}

export function percent(share) {
  if (!known(share)) return "unknown";
  return share > 0 && share < 0.005 ? "under 1 %" : Math.round(100 * share) + " %";
}

export function seconds(from, to) {
  if (!known(from)) return "unknown";
  const first = Math.round(from), last = Math.round(known(to) ? to : from);
  return (first === last ? "" + last : first + " to " + last) + " s";
}

// What a person typed as a number, with comma or point; NaN when it is none.
export function typed(words) {
  const text = String(words ?? "").trim().replace(",", ".");
  return text === "" ? NaN : Number(text);
}

export function toSI(value, kind) {
  return value * rule(kind)[0];
}

export function fromSI(value, kind) {
  return known(value) ? String(Number((value / rule(kind)[0]).toFixed(rule(kind)[2] + 1))) : "";
}

// [letter, colour, index] of the class of a depth or speed
export function classOf(kind, value) {
  const found = rules.classes[kind];
  if (!known(value)) return ["?", "#e6e6e6", -1];
  const steps = found[system];
  let i = 0;
  while (i < steps.length && value >= steps[i] - 1e-9) i += 1;
  return [found.letters[i], found.colours[i], i];
}

export function classMark(kind, value) {
  const found = classOf(kind, value);
  return el("span", { class: "class-letter " + (found[2] < 0 ? "class-unknown" : kind + "-" + found[2]), text: found[0] });
}

export function legend(kind) {
  const steps = rules.classes[kind][system].map((step) => number(step, kind));
  const words = ["under " + steps[0]];
  for (let i = 1; i < steps.length; i += 1) words.push(steps[i - 1] + "–" + steps[i]);
  words.push(steps[steps.length - 1] + " and more");
  const title = (kind === "depth" ? "Depth, " : "Current, ") + unit(kind);
  return el("div", { class: "legend" }, el("b", { text: title }),
    el("ul", { class: "classes" }, words.map((text, i) => el("li", {},
      el("span", { class: "class-letter " + kind + "-" + i, text: rules.classes[kind].letters[i] }), " " + text))));
}
