// The first run: five questions make the river folder. Nothing is written before the last is answered.
import { byId, button, el, field, input, name, select, textOf, toast } from "./dom.js";
import { hands, latlng, lonlat, map } from "./map.js";
import { pair } from "./geo.js";
import { pointFields } from "./points.js";
import { api, query } from "./net.js";
import { rules, show } from "./units.js";

const L = window.L;

// The zone of this computer, where the river is near enough to share it by its longitude
let riverAt = null;
function zoneHere() {
  const away = -new Date().getTimezoneOffset() / 60, sun = riverAt ? riverAt[0] / 15 : 99;
  return Math.abs(away - sun) <= 2 ? Intl.DateTimeFormat().resolvedOptions().timeZone : "";
}

function freshWords(one) {
  if (!Number.isFinite(one.age_min)) return "age of its newest value not told";
  return one.age_min < 120 ? "newest value " + Math.round(one.age_min) + " min old" : one.age_min < 72 * 60 ? "newest value " + Math.round(one.age_min / 60) + " h old" : "newest value " + Math.round(one.age_min / 1440) + " days old";
}

export function gaugeWords(found) {
  const read = [Number.isFinite(found.stage_m) ? show(found.stage_m, "level") : "", Number.isFinite(found.discharge_m3s) ? show(found.discharge_m3s, "discharge") : ""].filter(Boolean);
  const age = Number.isFinite(found.age_min) ? ", " + (found.age_min < 120 ? Math.round(found.age_min) + " min" : Math.round(found.age_min / 60) + " h") + " ago" : "";
  return (found.name || found.id) + ": " + (read.length ? read.join(", ") + age + (found.quality ? ", " + found.quality : "") : "no reading now") + ". " + (found.quality === "provisional" ? "" : found.reminder || "");
}

export function firstRun(made) {
  document.body.classList.add("first");
  const answers = { name: input("", { id: "first-name", autocomplete: "off" }), station: input("", { id: "first-gauge", placeholder: "usgs:01541000" }), place: input("", { id: "first-place", placeholder: "43.2045, -90.8077" }), units: select("us", [["us", "feet and cubic feet per second"], ["metric", "metres and cubic metres per second"]], { id: "first-units" }), craft: select("drift boat", rules.craft, { id: "first-craft" }) };
  const service = select(rules.services[0][0], rules.services.map(([id, , said]) => [id, said]), { id: "first-service", "aria-label": "Service to look in" });
  const at = pointFields(null, "the put-in"), says = el("p", { role: "status", id: "first-says" }), near = el("div", { id: "first-near", role: "status" });
  let marker = null;
  const put = (p, quiet) => {
    if (marker) marker.remove();
    marker = L.marker(latlng(p), { interactive: false, keyboard: false, icon: L.divIcon({ className: "icon", iconSize: [0, 0], html: el("div", { class: "place place-put_in" }, el("b", { text: "IN" })) }) }).addTo(map);
    if (!quiet) at.set(p);
    if (!map.getBounds().contains(latlng(p)) || map.getZoom() < 12) map.setView(latlng(p), 15, { animate: false });
  };
  at.node.addEventListener("change", () => {
    const p = at.value();
    if (p) put(p, true);
  });
  hands.taps = "first";
  map.on("click", (event) => {
    if (hands.taps === "first") put(lonlat(event.latlng));
  });
  const check = async () => {
    near.textContent = "Asking the gauge.";
    try {
      const found = await api("GET", "/api/gauges/check" + query({ station: answers.station.value.trim() }));
      near.replaceChildren(el("p", {}, name(gaugeWords(found))));
    } catch (error) {
      near.replaceChildren(el("p", { role: "alert", text: textOf(error) + " You can go on and mend it later in the settings." }));
    }
  };
  const look = async () => {
    const p = pair(answers.place.value) || at.value(true);
    if (!p) {
      toast("Give a place as latitude and longitude, such as 43.2045, -90.8077.");
      return;
    }
    near.textContent = "Looking for gauges.";
    try {
      const found = await api("GET", "/api/gauges/near" + query({ lon: p[0], lat: p[1], service: service.value }));
      const list = found.stations || found.gauges || [];
      near.replaceChildren(found.said ? el("p", { text: found.said }) : "", list.length ? el("ul", { class: "things" }, list.map((one) => el("li", {}, button("", () => {
        answers.station.value = one.id;
        answers.units.value = rules.services.some(([id, country]) => country === "us" && one.id.startsWith(id + ":")) ? "us" : "metric";
        near.replaceChildren(el("p", {}, "Chosen: ", name(one.name || one.id)));
      }, { class: "thing", "data-gauge": one.id })))) : el("p", { text: "No gauge found near there." }));
      near.querySelectorAll(".thing").forEach((node, i) => node.append(name(list[i].name || list[i].id), el("span", { class: "hint", text: [list[i].id, Number.isFinite(list[i].distance_km) ? Math.round(list[i].distance_km) + " km away" : "", (list[i].measures || []).join(", "), freshWords(list[i])].filter(Boolean).join(", ") })));
    } catch (error) {
      near.replaceChildren(el("p", { role: "alert", text: textOf(error) + " You can type the gauge’s number instead." }));
    }
  };
  const go = async () => {
    const p = at.value(true);
    riverAt = p;
    const missing = [!answers.name.value.trim() && "a name", !p && "the put-in"].filter(Boolean);
    if (missing.length) {
      says.textContent = "Still needed: " + missing.join(" and ") + ".";
      (answers.name.value.trim() ? at.lat : answers.name).focus();
      return;
    }
    says.textContent = "Making the folder.";
    try {
      const river = await api("POST", "/api/new", { name: answers.name.value.trim(), gauge: answers.station.value.trim(), units: answers.units.value, craft: answers.craft.value, put_in: p, timezone: zoneHere() || undefined, folder: folder.value.trim() || undefined });
      hands.taps = null;
      if (marker) marker.remove();
      document.body.classList.remove("first");
      byId("first").remove();
      made(river);
    } catch (error) {
      says.replaceChildren(el("span", { role: "alert", text: "Not made. " + textOf(error) }));
    }
  };
  const folder = input("", { id: "first-folder" });
  answers.name.addEventListener("input", () => {
    folder.value = answers.name.value.trim().toLowerCase().normalize("NFKD").replace(/[^a-z0-9]+/g, "-").replace(/^-|-$/g, "");
  });
  const here = button("Where this computer is", () => navigator.geolocation.getCurrentPosition((found) => put([found.coords.longitude, found.coords.latitude]), () => toast("This computer gives no position. Type it instead.")), { class: "quiet" });
  const form = el("section", { id: "first", "aria-labelledby": "first-h" },
    el("h2", { id: "first-h", text: "A new river: five questions" }),
    el("ol", { class: "questions" },
      el("li", {}, field("What is the river called?", answers.name)),
      el("li", {}, field("Which gauge does it follow?", answers.station, "service:station; " + rules.services.map(([id]) => id).join(", ").replace(/, ([^,]*)$/, " or $1") + ". Empty: you give the level by hand."), el("div", { class: "row" }, button("Ask this gauge", check, { id: "first-check" })), field("or find one near a place", answers.place, "Latitude and longitude"), el("div", { class: "row" }, service, button("Look near there", look, { id: "first-look" })), near),
      el("li", {}, field("Which units?", answers.units)),
      el("li", {}, field("Which craft?", answers.craft)),
      el("li", {}, el("div", { class: "field-row" }, el("span", { class: "label", text: "Where is the first put-in?" }), at.node, el("span", { class: "hint", text: "Latitude and longitude; a tap on the map moves it" })), navigator.geolocation ? here : "")),
    field("Name of the folder", folder, "Made beside where the desk was started"),
    el("div", { class: "row" }, button("Make the folder", go, { id: "first-go", class: "strong" })), says);
  byId("side").prepend(form);
  answers.name.focus();
}
