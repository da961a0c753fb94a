// Labels on the map take the first place where they cover nothing that matters more. All are measured first, in each
// of the forms they may take, and moved afterwards: measuring and moving by turns would lay the page out a thousand times.
const CENTRE = "translate(-50%, -50%)";
const PLACES = [[0, 20], [0, -46], [0, 48], [0, -74], [-60, 20], [60, 20], [0, 76], [0, -102]];
const BESIDE = [[0, 30], [0, -30], [90, 0], [-90, 0], [80, 34], [-80, 34], [80, -34], [-80, -34], [0, 60], [0, -60], [110, 60], [-110, -60], [-110, 60], [110, -60], [0, 90], [0, -90]];
const AROUND = [[0, 22], [0, -22], [24, 0], [-24, 0], [24, 22], [-24, 22], [24, -22], [-24, -22], [0, 46], [0, -46]];
const HERE = [[0, 0]];

function overlaps(a, b) {
  return a.left < b.right - 1 && b.left < a.right - 1 && a.top < b.bottom - 1 && b.top < a.bottom - 1;
}

// The boxes of nodes in each form: a form is a class name beside the node's own.
function measured(nodes, own, forms) {
  const boxes = nodes.map(() => []);
  for (const form of forms) {
    for (const node of nodes) node.setAttribute("class", own + " " + form);
    nodes.forEach((node, i) => boxes[i].push(node.getBoundingClientRect()));
  }
  return nodes.map((node, i) => ({ node: node, own: own, forms: forms, boxes: boxes[i] }));
}

// The first form and offset that are free; taken by it from then on. Null when none is.
function settle(label, offsets, taken, frame) {
  for (let form = 0; form < label.forms.length; form += 1) {
    const at = label.boxes[form];
    for (const offset of offsets) {
      const box = { left: at.left + offset[0], right: at.right + offset[0], top: at.top + offset[1], bottom: at.bottom + offset[1] };
      const inside = box.left >= frame.left && box.right <= frame.right && box.top >= frame.top && box.bottom <= frame.bottom;
      if (!inside || taken.some((other) => overlaps(box, other))) continue;
      taken.push(box);
      return { form: label.forms[form], offset: offset, box: box };
    }
  }
  return null;
}

function wear(label, found) {
  label.node.setAttribute("class", label.own + " " + (found ? found.form : "tucked"));
  if (found && found.offset !== HERE[0]) {
    label.node.style.transform = CENTRE + " translate(" + found.offset[0] + "px, " + found.offset[1] + "px)";
  }
}

// Casts nearer than this on the screen [px] are told as one: their numbers stand in the label of their run.
const APART = 40;

function groupCasts() {
  for (const run of mapRuns) {
    if (!run || !run.casts.length) continue;
    const at = run.casts.map((i) => riverMap.latLngToContainerPoint(data.map.spots[i].to));
    const corners = run.ring.map((point) => riverMap.latLngToContainerPoint(point)), spread = (key) => {
      const values = corners.map((corner) => corner[key]);
      return Math.max(...values) - Math.min(...values);
    };
    const near = at.some((a, k) => at.some((b, m) => m < k && a.distanceTo(b) < APART));
    const grouped = Math.max(spread("x"), spread("y")) < 2 * APART || (near && Math.max(spread("x"), spread("y")) < 4 * APART);
    run.mark.classList.toggle("grouped", grouped);
    for (const i of run.casts) spotMarks[i].classList.toggle("in-run", grouped);
  }
}

// Near the run with its name or number, then farther off with them, then as the letter alone.
function besideRun(label, taken, frame) {
  const worded = Object.assign({}, label, { forms: label.forms.slice(0, 2) });
  return settle(worded, BESIDE.slice(0, 8), taken, frame) || settle(worded, BESIDE, taken, frame) || settle(label, BESIDE, taken, frame);
}

// A line from a run to its label, where the label stands off.
function lead(run, found) {
  const from = riverMap.latLngToContainerPoint(run.middle), off = found ? found.offset : [0, 0];
  const to = riverMap.containerPointToLatLng([from.x + off[0], from.y + off[1]]);
  run.leader.setLatLngs(Math.hypot(off[0], off[1]) > 24 ? [run.middle, to] : []);
}

function settleLabels() {
  const frame = mapNode.getBoundingClientRect();
  if (!frame.width) return;
  const all = (selector) => Array.from(mapNode.querySelectorAll(selector));
  for (const run of mapRuns) if (run) paintLabel(run);
  mapNode.classList.toggle("far", riverMap.getZoom() < 15.75);
  const moved = all(".spot-number, .run-label, .clock");
  for (const node of moved) node.style.transform = CENTRE;
  const fixedNodes = all(".leaflet-control, .place b").concat(Array.from(document.querySelectorAll(".north")));
  const taken = fixedNodes.map((node) => node.getBoundingClientRect());
  groupCasts();
  const numbers = measured(all(".spot-box:not(.in-run) .spot-number"), "spot-number", [""]);
  const stances = measured(all(".stance"), "stance", [""]);
  const arrows = measured(all(".flow-arrow"), "flow-arrow", [""]);
  const runs = measured(all(".run-label"), "run-label", ["", "no-name", "letter-alone"]);
  const clocks = measured(all(".clock"), "clock", [""]);
  const timed = measured(all(".place-name").filter((node) => node.querySelector(".place-at")), "place-name", ["", "leftward", "time-alone", "leftward time-alone"]);
  const named = measured(all(".place-name").filter((node) => !node.querySelector(".place-at")), "place-name", ["", "leftward"]);
  for (const label of numbers) wear(label, settle(label, AROUND, taken, frame) || { form: "", offset: AROUND[0] });
  for (const label of stances) wear(label, settle(label, HERE, taken, frame));
  const heads = [];
  for (const label of arrows) {
    const box = label.boxes[0], hidden = heads.concat(taken).some((other) => overlaps(box, other));
    wear(label, hidden ? null : { form: "", offset: HERE[0] });
    if (!hidden) heads.push(box);
  }
  const shapes = mapRuns.filter((run) => run && run.mark.classList.contains("grouped")).map((run) => run.shape.getElement().getBoundingClientRect());
  for (const label of runs) {
    const run = mapRuns.find((one) => one && one.label === label.node), grouped = run.mark.classList.contains("grouped");
    const free = taken.concat(shapes);
    const found = (grouped && besideRun(label, free, frame)) || settle(label, PLACES, taken, frame);
    if (found && taken[taken.length - 1] !== found.box) taken.push(found.box);
    wear(label, found);
    lead(run, found);
  }
  for (const label of timed) wear(label, settle(label, HERE, taken, frame));
  for (const label of clocks) wear(label, settle(label, AROUND, taken, frame));
  for (const label of named) wear(label, settle(label, HERE, taken, frame));
}
