// Points as numbers: the alternative to dragging and pointing. Latitude and longitude as people write them.
import { button, el, input, speak, toast } from "./dom.js";
import { coordinate, distance, pair, round } from "./geo.js";

function cell(value, limit, words) {
  const field = input(value, { inputmode: "text", "aria-label": words, class: "coordinate" });
  field.limit = limit;
  field.addEventListener("paste", (event) => {
    const both = pair(event.clipboardData.getData("text"));
    if (!both) return;
    event.preventDefault();
    const fields = field.closest("[data-point]").querySelectorAll("input.coordinate");
    fields[0].value = both[1].toFixed(7);
    fields[1].value = both[0].toFixed(7);
    fields[1].dispatchEvent(new Event("change", { bubbles: true }));
  });
  return field;
}

// A point in two fields; value() is null while either is no coordinate, and marks it so. `what` names it for the ear.
export function pointFields(p, what) {
  const lat = cell(p ? p[1].toFixed(7) : "", 90, "Latitude" + (what ? " of " + what : ""));
  const lon = cell(p ? p[0].toFixed(7) : "", 180, "Longitude" + (what ? " of " + what : ""));
  const node = el("span", { class: "point-fields", "data-point": "" }, lat, lon);
  const value = (quiet) => {
    const both = lon.value.trim() === "" ? pair(lat.value) : null;
    const found = both || [coordinate(lon.value, 180), coordinate(lat.value, 90)];
    const bad = [!Number.isFinite(found[1]), !Number.isFinite(found[0])];
    if (!quiet) [lat, lon].forEach((field, i) => field.setAttribute("aria-invalid", String(bad[i])));
    return bad[0] || bad[1] ? null : round(found);
  };
  const set = (next) => {
    lat.value = next ? next[1].toFixed(7) : "";
    lon.value = next ? next[0].toFixed(7) : "";
    for (const field of [lat, lon]) field.removeAttribute("aria-invalid");
  };
  return { node: node, value: value, set: set, lat: lat, lon: lon };
}

// The points of a line or ring as a list to type in. done(points, what) takes the whole list after each change.
export function pointList(points, options) {
  const { names, closed, fixed, done } = options;
  const least = closed ? 3 : 2;
  const rows = points.map((p, i) => {
    const fields = pointFields(p, names(i));
    fields.node.addEventListener("change", () => {
      const next = fields.value();
      if (!next) {
        toast("Latitude and longitude are needed, such as 43.204541 and -90.807725.");
        return;
      }
      if (distance(next, p) < 0.005) return;
      done(points.map((one, k) => (k === i ? next : one)), "move", i);
    });
    const less = fixed || points.length <= least ? null : button("Take away", () => {
      done(points.filter((one, k) => k !== i), "remove", i);
      speak(names(i) + " taken away.");
    }, { class: "quiet", "aria-label": "Take away " + names(i) });
    return el("li", {}, el("span", { class: "point-name", text: names(i) }), fields.node, less);
  });
  const parts = [el("p", { class: "hint", text: "Latitude and longitude in degrees; 43.2045, 43° 12.27' N and 43°12'16\" N are all read. Pasting “43.2045, -90.8077” fills both." }), el("ol", { class: "points" }, rows)];
  if (!fixed) parts.push(adder("Add a point", (p, after) => done([...points.slice(0, after), p, ...points.slice(after)], "add", after), points.map((p, i) => names(i))));
  return el("div", {}, parts);
}

// Fields for one more point; `after` lets it stand anywhere in the list.
export function adder(words, add, names) {
  const fields = pointFields(null, "the new point");
  const where = names && names.length ? el("select", { "aria-label": "Where the new point goes" }, names.map((name, i) => el("option", { value: i + 1, text: "after " + name }))) : null;
  if (where) where.value = String(names.length);
  const go = () => {
    const p = fields.value();
    if (!p) {
      toast("Latitude and longitude are needed, such as 43.204541 and -90.807725.");
      return;
    }
    fields.set(null);
    add(p, where ? Number(where.value) : 0);
    fields.lat.focus();
  };
  fields.lon.addEventListener("keydown", (event) => {
    if (event.key === "Enter") go();
  });
  return el("div", { class: "adder" }, fields.node, where, button(words, go));
}
