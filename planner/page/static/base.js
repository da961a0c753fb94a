// The data of the page and small helpers. Everything a person typed reaches the page through textContent alone.
const data = JSON.parse(document.getElementById("plan-data").textContent);
const SVG = "http://www.w3.org/2000/svg";

function byId(id) {
  return document.getElementById(id);
}

function part(root, key) {
  return root.querySelector('[data-k="' + key + '"]');
}

function el(tag, className, words) {
  const node = document.createElement(tag);
  if (className) node.className = className;
  if (words !== undefined && words !== null) node.textContent = words;
  return node;
}

function draw(tag, attributes, parent) {
  const node = document.createElementNS(SVG, tag);
  for (const key in attributes) node.setAttribute(key, attributes[key]);
  if (parent) parent.appendChild(node);
  return node;
}

// A page that writes only what changed keeps a slider step short; what was written is kept beside the node, for asking
// the document costs as much as writing.
function say(node, words) {
  if (!node || (node.said === undefined ? node.textContent : node.said) === words) return;
  node.said = words;
  node.textContent = words;
}

function known(value) {
  return value !== null && value !== undefined;
}

// A formatter is costly to make and is called a thousand times a step.
const formats = {};

function number(value, kind) {
  const rule = data.units[kind], digits = rule[2];
  if (!formats[digits]) {
    formats[digits] = new Intl.NumberFormat("en-US", { minimumFractionDigits: digits, maximumFractionDigits: digits });
  }
  return formats[digits].format(value / rule[0]);
}

function show(value, kind) {
  return known(value) ? number(value, kind) + " " + data.units[kind][1] : "unknown";
}

function span(low, high, kind) {
  if (!known(low) || !known(high)) return show(known(low) ? low : high, kind);
  const first = number(low, kind), last = number(high, kind);
  return (first === last ? last : first + " to " + last) + " " + data.units[kind][1];
}

function percent(share) {
  if (!known(share)) return "unknown";
  if (share > 0 && share < 0.005) return "under 1 %";
  return Math.round(100 * share) + " %";
}

function windowWords(from, to) {
  if (!known(from)) return "–";
  const first = Math.round(from), last = Math.round(to);
  return (first === last ? "" + last : first + " to " + last) + " s";
}

// With its mode: six seconds fed are another swim than six held.
function countWords(a) {
  return known(a.from) && a.mode ? windowWords(a.from, a.to) + " " + a.mode : windowWords(a.from, a.to);
}

function words(index) {
  return known(index) ? data.texts[index] : "";
}

// [letter, colour, index] of the class of a depth or speed
function classOf(kind, value) {
  if (!known(value)) return ["?", "#e6e6e6", -1];
  const rule = data.classes[kind];
  let i = 0;
  while (i < rule[0].length && value >= rule[0][i] - 1e-9) i += 1;
  return [rule[1][i], rule[2][i], i];
}

function paintClass(node, kind, value) {
  const found = classOf(kind, value);
  say(node, found[0]);
  const name = "class-letter " + (found[2] < 0 ? "class-unknown" : kind + "-" + found[2]);
  if (node.className !== name) node.className = name;
}

function markNode(level, line, tag) {
  const node = el(tag || "span", "mark");
  const sign = draw("svg", { class: "sign", viewBox: "0 0 48 48", "aria-hidden": "true", focusable: "false" }, node);
  draw("use", { href: "#lv" + (known(level) ? level : "n") }, sign);
  node.appendChild(el("span", "mark-text", line));
  return node;
}

function paintMark(node, caution) {
  if (!node) return;
  const href = "#lv" + (known(caution.level) ? caution.level : "n"), use = node.querySelector("use");
  if (use.getAttribute("href") !== href) use.setAttribute("href", href);
  say(node.querySelector(".mark-text"), caution.line);
}
