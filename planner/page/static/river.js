// The map: runs, casts, places and the flow, drawn on the map that the page's frame made.
let colourBy = "depth";
const mapRuns = [];
const spotMarks = [];
const sketchRuns = data.runs.map((run, i) => ({
  shape: document.querySelector('.sketch [data-run="' + i + '"]'),
  letter: document.querySelector('.sketch [data-run-letter="' + i + '"]'),
}));
const mapNode = byId("map_river");
const riverMap = window.map_river;

function icon(node, size, anchor) {
  return L.divIcon({ html: node, className: "icon", iconSize: size, iconAnchor: anchor || [size[0] / 2, size[1] / 2] });
}

function turn(from, to) {
  const squeeze = Math.cos((from[0] * Math.PI) / 180);
  return (Math.atan2((to[1] - from[1]) * squeeze, to[0] - from[0]) * 180) / Math.PI;
}

function fixed(at, node, size, anchor) {
  return L.marker(at, { icon: icon(node, size, anchor), interactive: false, keyboard: false }).addTo(riverMap);
}

function arrowHead(at, bearing, className) {
  const node = draw("svg", { viewBox: "-12 -12 24 24", class: className, "aria-hidden": "true" });
  draw("path", { d: "M0 -10 8 8 0 4 -8 8Z" }, draw("g", { transform: "rotate(" + bearing.toFixed(1) + ")" }, node));
  return fixed(at, node, [24, 24]);
}

function spotsOf(run) {
  return data.spots.map((spot, i) => i).filter((i) => data.spots[i].run === run && data.map.spots[i]);
}

// Numbers of spots, those in a row as one: 1–3, 5.
function castWords(casts) {
  const rows = [];
  for (const i of casts) {
    const last = rows[rows.length - 1];
    if (last && last[1] === i - 1) last[1] = i;
    else rows.push([i, i]);
  }
  return rows.map((row) => (row[0] === row[1] ? "" + (row[0] + 1) : row[0] + 1 + (row[1] === row[0] + 1 ? ", " : "–") + (row[1] + 1))).join(", ");
}

function drawRuns() {
  data.map.runs.forEach((run, i) => {
    if (!run) {
      mapRuns.push(null);
      return;
    }
    const shape = L.polygon(run.ring, { color: "#111111", weight: 2, fillOpacity: 1, interactive: false }).addTo(riverMap);
    const label = el("div", "run-label");
    const letter = el("b", "class-letter");
    const casts = spotsOf(i);
    label.append(letter, el("bdi", "", data.runs[i].name), el("span", "run-number"), el("span", "run-casts", castWords(casts)));
    label.addEventListener("click", () => showRun(i));
    const mark = el("div", "run-mark"), leader = L.polyline([], { color: "#111111", weight: 1.5, interactive: false }).addTo(riverMap);
    mark.appendChild(label);
    fixed(run.middle, mark, [0, 0]);
    const arrows = run.arrows.map((a) => arrowHead([a[0], a[1]], a[2], "flow-arrow").getElement().querySelector("path"));
    mapRuns.push({ shape: shape, label: label, mark: mark, leader: leader, middle: run.middle, casts: casts, letter: letter, text: label.querySelector(".run-number"), ring: run.ring, arrows: arrows });
  });
}

function drawSpots() {
  data.map.spots.forEach((spot, i) => {
    if (!spot) return;
    const line = [spot.from, spot.to], name = i + 1 + " " + data.spots[i].name;
    L.polyline(line, { color: "#ffffff", weight: 7, className: "near-only", interactive: false }).addTo(riverMap);
    L.polyline(line, { color: "#111111", weight: 3, className: "near-only", interactive: false }).addTo(riverMap);
    drawSwim(i, spot);
    fixed(spot.from, el("span", "stance", spot.sign), [22, 22]);
    arrowHead(spot.to, turn(spot.from, spot.to), "cast-arrow");
    const box = el("span", "spot-box");
    spotMarks[i] = box;
    box.appendChild(el("span", "spot-number", "" + (i + 1)));
    const marker = L.marker(spot.to, { icon: icon(box, [44, 44]), keyboard: false, zIndexOffset: 500 }).addTo(riverMap);
    const node = marker.getElement();
    node.tabIndex = 0;
    node.setAttribute("role", "button");
    node.setAttribute("aria-label", "Open spot " + name);
    const open = () => openCard(i, node);
    marker.on("click", open);
    node.addEventListener("keydown", (event) => {
      if (event.key !== "Enter" && event.key !== " ") return;
      event.preventDefault();
      open();
    });
  });
}

// Dots on a canvas of their own, under casts and numbers; they show when a run fills the map.
function drawSoundings() {
  const found = data.map.soundings;
  if (!found.at.length) return;
  riverMap.createPane("dots").classList.add("dots");
  const paper = L.canvas({ pane: "dots", padding: 0.1 });
  const dots = L.layerGroup(found.at.map((d) => L.circleMarker([(found.from[0] + d[0]) / 1e6, (found.from[1] + d[1]) / 1e6], {
    renderer: paper, pane: "dots", radius: 2.5, color: "#ffffff", weight: 1, fillColor: "#111111", fillOpacity: 1, interactive: false,
  })));
  const turnOn = () => (riverMap.getZoom() >= 16.5 ? dots.addTo(riverMap) : dots.remove());
  riverMap.on("zoomend", turnOn);
  turnOn();
}

// The way of the fly: as the plan gives it, east and north of the landing, else along the cast by its distance.
function swimWay(swim, spot) {
  const squeeze = 111195 * Math.cos((spot.to[0] * Math.PI) / 180);
  if (swim[4]) return swim[4][0].map((east, k) => [spot.to[0] + swim[4][1][k] / 111195, spot.to[1] + east / squeeze]);
  const far = Math.max(...swim[0]) || 1;
  return swim[0].map((m) => [0, 1].map((k) => spot.from[k] + ((spot.to[k] - spot.from[k]) * m) / far));
}

const swims = L.layerGroup();

function drawSwim(i, spot) {
  const swim = data.spots[i].swim, hold = data.spots[i].hold;
  if (!swim) return;
  const way = swimWay(swim, spot), colour = { color: "#5b1a8b", className: "near-only", interactive: false };
  const inBand = (k) => known(swim[2][k]) && swim[2][k] - swim[1][k] >= hold[0] && swim[2][k] - swim[1][k] <= hold[1];
  swims.addLayer(L.polyline(way, Object.assign({ weight: 2.5 }, colour)));
  let from = -1;
  way.forEach((point, k) => {
    if (inBand(k) && from < 0) from = k;
    if (from >= 0 && (!inBand(k) || k === way.length - 1)) {
      swims.addLayer(L.polyline(way.slice(from, k + 1), Object.assign({ weight: 9, lineCap: "butt", opacity: 0.85 }, colour)));
      from = -1;
    }
  });
}

function drawPlaces() {
  const signs = { put_in: "IN", take_out: "OUT", hazard: "!" };
  for (const place of data.map.places) {
    if (place.line.length > 1) {
      L.polyline(place.line, { color: "#111111", weight: 6, dashArray: "4 5", lineCap: "butt", interactive: false }).addTo(riverMap);
    }
    const node = el("div", "place place-" + place.kind);
    node.appendChild(el("b", "", signs[place.kind] || "?"));
    const name = el("span", "place-name");
    name.append(place.at ? el("span", "place-at", place.at) : "", el("bdi", "", place.what ? place.what + ": " + place.name : place.name));
    node.appendChild(name);
    fixed(place.line[Math.floor(place.line.length / 2)], node, [0, 0]);
  }
}

function drawClocks() {
  for (const stop of data.map.clocks) fixed([stop[0], stop[1]], el("span", "clock", stop[2]), [0, 0]);
}

function fitMap() {
  const box = data.map.box;
  riverMap.fitBounds([[box[1], box[0]], [box[3], box[2]]], { padding: [34, 34], animate: false });
}

// One run with the casts that fish it.
function fitRun(i) {
  const points = data.map.runs[i].ring.slice();
  data.map.spots.forEach((spot, k) => {
    if (spot && data.spots[k].run === i) points.push(spot.from, spot.to);
  });
  riverMap.fitBounds(points, { padding: [28, 28], animate: false });
}

function showRun(i) {
  const pick = byId("go-to");
  if (pick) pick.value = "" + i;
  fitRun(i);
}

function startGo() {
  const pick = byId("go-to");
  if (!pick || !riverMap) return;
  pick.addEventListener("change", () => (pick.value === "" ? fitMap() : fitRun(Number(pick.value))));
}

// A label that is tucked away is written when it comes out again: laying out a hundred costs more than all the rest.
function paintLabel(run) {
  paintClass(run.letter, colourBy, run.value);
  say(run.text, show(run.value, colourBy));
}

function paintMap(answers) {
  mapRuns.forEach((run, i) => {
    const answer = answers.runs[i], value = colourBy === "depth" ? answer.depth : answer.speed;
    const found = classOf(colourBy, value);
    if (run) {
      if (run.colour !== found[1]) run.shape.setStyle({ fillColor: found[1] });
      run.colour = found[1];
      run.value = value;
      if (!run.label.classList.contains("tucked")) paintLabel(run);
      const size = "size-" + Math.max(0, classOf("speed", answer.speed)[2]);
      if (run.size !== size) for (const arrow of run.arrows) arrow.setAttribute("class", size);
      run.size = size;
    }
    const drawn = sketchRuns[i];
    if (drawn.shape && drawn.shape.getAttribute("fill") !== found[1]) drawn.shape.setAttribute("fill", found[1]);
    say(drawn.letter, found[0]);
  });
  if (!riverMap) return;
  if (answers.planned !== riverMap.hasLayer(swims)) {
    if (answers.planned) swims.addTo(riverMap);
    else swims.remove();
  }
}

function startMap() {
  if (!riverMap) return;
  riverMap.invalidateSize({ animate: false, pan: false });
  riverMap.setMinZoom(8);
  riverMap.setMaxZoom(22);
  const imperial = data.units.depth[1] === "ft";
  L.control.scale({ imperial: imperial, metric: !imperial, maxWidth: 140 }).addTo(riverMap);
  for (const line of data.map.flow) {
    L.polyline(line, { color: "#1f4e79", weight: 2.5, dashArray: "9 7", interactive: false }).addTo(riverMap);
  }
  drawUnder();
  drawRuns();
  drawPlaces();
  drawSpots();
  drawClocks();
  fitMap();
  drawSoundings();
  riverMap.on("zoomend moveend resize", settleLabels);
  mapNode.setAttribute("role", "group");
  mapNode.setAttribute("aria-label", "Map of the runs and spots; every spot is also in the table after it");
}

function startWhere() {
  const button = byId("where"), says = byId("where-says");
  if (!riverMap || !navigator.geolocation) return;
  button.hidden = false;
  let dot = null;
  button.addEventListener("click", () => {
    say(says, "Asking the phone for its position.");
    riverMap.locate({ enableHighAccuracy: true, timeout: 20000 });
  });
  riverMap.on("locationfound", (event) => {
    if (dot) dot.remove();
    dot = L.layerGroup([
      L.circle(event.latlng, { radius: event.accuracy, color: "#5b1a8b", weight: 2, fillOpacity: 0.1, interactive: false }),
      L.circleMarker(event.latlng, { radius: 8, color: "#ffffff", weight: 3, fillColor: "#5b1a8b", fillOpacity: 1, interactive: false }),
    ]).addTo(riverMap);
    riverMap.panTo(event.latlng, { animate: false });
    say(says, "You are in the ring on the map, known to about " + show(event.accuracy, "length") + ".");
  });
  riverMap.on("locationerror", () => say(says, "The phone gives no position here. The map works without it."));
}
