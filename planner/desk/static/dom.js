// Small helpers to build the page. Everything a person typed reaches the page through textContent or a field's value.
const SVG = "http://www.w3.org/2000/svg";
let counted = 0;

export function byId(id) {
  return document.getElementById(id);
}

// An element with its attributes and children; a string child becomes a text node, never markup.
export function el(tag, attributes, ...children) {
  const node = document.createElement(tag);
  for (const [key, value] of Object.entries(attributes || {})) {
    if (value === undefined || value === null || value === false) continue;
    if (key === "text") node.textContent = value;
    else if (key === "on") for (const [name, what] of Object.entries(value)) node.addEventListener(name, what);
    else if (key === "data") Object.assign(node.dataset, value);
    else if (key === "value" || key === "checked" || key === "disabled" || key === "hidden") node[key] = value;
    else node.setAttribute(key, value === true ? "" : value);
  }
  node.append(...children.flat().filter((child) => child !== null && child !== undefined && child !== false));
  return node;
}

export function svg(tag, attributes, parent) {
  const node = document.createElementNS(SVG, tag);
  for (const key in attributes) node.setAttribute(key, attributes[key]);
  if (parent) parent.appendChild(node);
  return node;
}

export function say(node, words) {
  if (node && node.textContent !== words) node.textContent = words;
}

export function button(words, what, attributes) {
  return el("button", { type: "button", text: words, on: { click: what }, ...attributes });
}

export function name(words) {
  return el("bdi", { text: words });
}

// A label above its field; `hint` is read with the field.
export function field(words, input, hint) {
  if (!input.id) input.id = "f" + (counted += 1);
  const parts = [el("label", { for: input.id, text: words }), input];
  if (hint) {
    const note = el("span", { id: input.id + "-hint", class: "hint", text: hint });
    input.setAttribute("aria-describedby", note.id);
    parts.push(note);
  }
  return el("div", { class: "field-row" }, ...parts);
}

export function input(value, attributes) {
  const node = el("input", { type: "text", autocomplete: "off", value: value ?? "", ...attributes });
  node.initial = node.value;
  return node;
}

// A choice; `choices` are [value, words] or plain words. A value that is not among them is kept as it is.
export function select(value, choices, attributes) {
  const pairs = choices.map((choice) => (Array.isArray(choice) ? choice : [choice, choice]));
  if (value && !pairs.some((pair) => pair[0] === value)) pairs.push([value, value + " (as in the file)"]);
  const node = el("select", attributes);
  for (const pair of pairs) node.append(el("option", { value: pair[0], text: pair[1] }));
  // with no value the first choice stands; with one that is no choice none does
  if (value !== null && value !== undefined) node.value = value;
  return node;
}

export function group(words, ...children) {
  return el("fieldset", {}, el("legend", { text: words }), ...children);
}

// A table with a caption and headings; rows are lists of cells, each text or node; the first names its row.
export function table(caption, headings, rows, attributes) {
  const head = el("tr", {}, headings.map((heading) => el("th", { scope: "col", text: heading })));
  const body = rows.map((cells) => el("tr", {}, cells.map((cell, i) => {
    const node = el(i === 0 ? "th" : "td", i === 0 ? { scope: "row" } : { "data-label": headings[i] });
    node.append(cell ?? "");
    return node;
  })));
  return el("div", { class: "table-box", tabindex: "0", role: "group", "aria-label": caption },
    el("table", attributes || {}, el("caption", { text: caption }), el("thead", {}, head), el("tbody", {}, body)));
}

export function speak(words) {
  say(byId("spoken"), words);
}

// One sentence at the foot of the screen, with at most one thing to do about it.
let toastEnds = 0;
export function toast(words, does, what) {
  const node = byId("toast");
  clearTimeout(toastEnds);
  node.replaceChildren(el("span", { text: words }));
  if (does) {
    node.append(button(does, () => {
      node.replaceChildren();
      what();
    }));
  }
  node.append(button("Close", () => node.replaceChildren(), { class: "quiet", "aria-label": "Close this message" }));
  toastEnds = setTimeout(() => node.replaceChildren(), does ? 20000 : 8000);
}

// A question in the way of everything else; resolves with the value of the button pressed, null when closed.
export function ask(title, body, answers) {
  const box = byId("ask");
  return new Promise((done) => {
    let answer = null;
    box.replaceChildren(
      el("h2", { id: "ask-h", text: title }),
      ...body.map((part) => (typeof part === "string" ? el("p", { text: part }) : part)),
      el("div", { class: "row" }, answers.map(([value, words]) => button(words, () => {
        answer = value;
        box.close();
      }))),
    );
    box.addEventListener("close", () => done(answer), { once: true });
    box.showModal();
  });
}

export function textOf(error) {
  const parts = [error.given, error.need && "Needed: " + error.need, error.next && "Next: " + error.next].filter(Boolean);
  return parts.map((part) => (/[.!?]$/.test(part) ? part : part + ".")).join(" ") || String(error.message || error);
}

export function debounce(wait, what) {
  let timer = 0;
  return (...given) => {
    clearTimeout(timer);
    timer = setTimeout(() => what(...given), wait);
  };
}

// Calls of one asking at a time: while one is under way only the latest of the rest is kept.
export function latest(what) {
  let busy = false, next = null;
  const go = async (given) => {
    busy = true;
    try {
      await what(...given);
    } finally {
      busy = false;
      if (next) {
        const then = next;
        next = null;
        go(then);
      }
    }
  };
  return (...given) => {
    if (busy) next = given;
    else go(given);
  };
}

export function clock(moment, zone) {
  const options = { hour: "2-digit", minute: "2-digit", hourCycle: "h23" };
  if (zone) options.timeZone = zone;
  try {
    return new Intl.DateTimeFormat("en-GB", options).format(moment);
  } catch (error) {
    return moment.toTimeString().slice(0, 5);
  }
}
