// Settings of the river, and the local thresholds with the words and the place that they come from.
import { byId, button, el, field, group, input, select, textOf, toast } from "./dom.js";
import { gaugeWords } from "./first.js";
import { model, on } from "./model.js";
import { put } from "./saving.js";
import { api, query } from "./net.js";
import { rules, typed } from "./units.js";

const INPUTS = { stage: ["ft", "m"], discharge: ["cfs", "m3/s"], water_temperature: ["°F", "°C"], turbidity: ["FNU", "NTU"] };
let was = "", thresholds = [], thresholdsDirty = false;

function paint() {
  const now = model.river.settings || {}, party = { ...(now.party || {}) }, authority = { ...(now.authority || {}) };
  const fields = {
    name: input(now.name), gauges: input((now.gauges || []).join(", "), { placeholder: "usgs:01541000" }), timezone: input(now.timezone || model.river.timezone, { placeholder: "America/Chicago" }),
    units: select(now.units || model.river.units || "us", [["us", "ft, ft³/s, °F"], ["metric", "m, m³/s, °C"]]),
    craft: input(now.craft, { list: "craft-words" }), slope: input(now.slope, { inputmode: "decimal" }),
    bed: select(typeof now.bed === "string" ? now.bed : "", [["", "not given"], ...rules.beds]),
  };
  const adults = input(party.adults, { inputmode: "numeric" }), children = input(party.children, { inputmode: "numeric" });
  const footing = select(party.footing || "", [["", "not given"], ["good", "good"], ["fair", "fair"], ["slick", "slick"], ["poor", "poor"]]);
  const alone = el("input", { type: "checkbox", checked: party.alone === true });
  const who = input(authority.name), phone = input(authority.phone);
  const says = el("span", { role: "status", id: "settings-say" }), gaugeSays = el("p", { class: "hint", role: "status" });
  const check = async () => {
    gaugeSays.textContent = "Asking the gauge.";
    try {
      const found = await api("GET", "/api/gauges/check" + query({ station: fields.gauges.value.split(",")[0].trim() }));
      gaugeSays.textContent = gaugeWords(found);
    } catch (error) {
      gaugeSays.textContent = textOf(error);
    }
  };
  const whole = (node) => (node.value.trim() === "" ? undefined : typed(node.value));
  const save = async () => {
    const set = { name: fields.name.value.trim(), timezone: fields.timezone.value.trim() || null, units: fields.units.value, craft: fields.craft.value.trim() || null, gauges: fields.gauges.value.split(",").map((one) => one.trim()).filter(Boolean), bed: fields.bed.value || (typeof now.bed === "object" ? now.bed : null) };
    const slope = typed(fields.slope.value);
    set.slope = fields.slope.value.trim() === "" ? null : slope;
    const people = { ...party, adults: whole(adults), children: whole(children), footing: footing.value || undefined, alone: alone.checked || (party.alone === undefined ? undefined : false) };
    for (const key of Object.keys(people)) if (people[key] === undefined) delete people[key];
    set.party = people;
    const office = { ...authority, name: who.value.trim() || undefined, phone: phone.value.trim() || undefined };
    for (const key of Object.keys(office)) if (office[key] === undefined) delete office[key];
    set.authority = office;
    if (Number.isNaN(set.slope) || Object.values(people).some((one) => Number.isNaN(one))) {
      toast("A number is needed there.");
      return;
    }
    try {
      await put("PUT", "/api/settings", { set: set });
      byId("settings-say").textContent = "Saved."; // the panel may have been painted anew
    } catch (error) {
      byId("settings-say").textContent = "Not saved. " + textOf(error);
    }
  };
  byId("panel-settings").replaceChildren(
    field("Name of the river", fields.name), field("Gauges, the first is the runs’ own", fields.gauges, "service:station, with commas between"),
    el("div", { class: "row" }, button("Ask the gauge", check, { class: "quiet" })), gaugeSays,
    field("Units", fields.units), field("Time zone", fields.timezone), field("Craft", fields.craft), el("datalist", { id: "craft-words" }, rules.craft.map((one) => el("option", { value: one }))),
    field("Slope of the water, where a run gives none", fields.slope), field("Bed, where a run gives none", fields.bed),
    group("Party", el("div", { class: "three" }, field("Adults", adults), field("Children", children), field("Footing", footing)), el("label", { class: "check" }, alone, " One person alone")),
    group("Authority for the float plan", field("Name", who), field("Phone", phone)),
    el("div", { class: "row" }, button("Save the settings", save, { id: "settings-save", class: "strong" }), says),
    el("section", { id: "thresholds", "aria-labelledby": "thresholds-h" }));
  paintThresholds();
}

function paintThresholds() {
  const says = el("span", { role: "status", id: "thresholds-say" });
  const card = (row, i) => {
    const bind = (key, node, read) => {
      node.addEventListener("input", () => {
        row[key] = read ? read(node.value) : node.value;
        thresholdsDirty = true;
      });
      return node;
    };
    const units_ = INPUTS[row.input] || INPUTS.stage, unitNode = bind("unit", select(row.unit || units_[0], units_));
    const kind = select(row.input || "stage", [["stage", "stage"], ["discharge", "discharge"], ["water_temperature", "water temperature"], ["turbidity", "turbidity"]]);
    kind.addEventListener("change", () => {
      row.input = kind.value;
      row.unit = INPUTS[kind.value][0];
      thresholdsDirty = true;
      paintThresholds();
    });
    return el("fieldset", {}, el("legend", { text: "Threshold " + (i + 1) }),
      el("div", { class: "three" }, field("Of", kind), field("At", bind("at", input(row.at, { inputmode: "decimal" }), typed)), field("Unit", unitNode)),
      field("Raised when the reading is at it or", bind("side", select(row.side || "above", [["above", "above"], ["below", "below"]]))),
      field("Raises caution", bind("level", select(String(row.level || 2), [["1", "1: heads-up"], ["2", "2: think again"], ["3", "3: stay off"]]), Number)),
      field("What is said", bind("text", input(row.text))), field("Where it comes from", bind("source", input(row.source)), "Board, web page or person, and when"),
      button("Take it away", () => {
        thresholds.splice(i, 1);
        thresholdsDirty = true;
        paintThresholds();
      }, { class: "quiet", "aria-label": "Take it away: threshold " + (i + 1) }));
  };
  byId("thresholds").replaceChildren(
    el("h3", { id: "thresholds-h", text: "Local thresholds" }),
    el("p", { class: "hint", text: "What is posted or known here. Each is shown with its words and its source; none lowers another caution." }),
    ...thresholds.map(card),
    el("div", { class: "row" }, button("Add a threshold", () => {
      thresholds.push({ input: "stage", level: 2, unit: model.river.units === "metric" ? "m" : "ft", side: "above", text: "", source: "" });
      thresholdsDirty = true;
      paintThresholds();
    }, { id: "add-threshold" }), button("Save the thresholds", async () => {
      const bad = thresholds.find((row) => !Number.isFinite(row.at) || !String(row.text || "").trim() || !String(row.source || "").trim());
      if (bad) {
        says.textContent = "Each threshold needs its number, what is said and where it comes from.";
        return;
      }
      try {
        thresholdsDirty = false;
        await put("PUT", "/api/thresholds", { set: thresholds });
        byId("thresholds-say").textContent = "Saved.";
      } catch (error) {
        thresholdsDirty = true;
        byId("thresholds-say").textContent = "Not saved. " + textOf(error);
      }
    }, { id: "thresholds-save" }), says));
}

export function startSettings() {
  on("river", () => {
    const now = JSON.stringify([model.river.settings, model.river.units]);
    if (now === was) return;
    was = now;
    if (!thresholdsDirty) thresholds = JSON.parse(JSON.stringify((model.river.settings || {}).threshold || []));
    paint();
  });
}
