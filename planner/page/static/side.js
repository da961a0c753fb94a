// Drawings of water seen from the side, at the size of a phone's screen so that their words stay readable on it.
const SIDE = { wide: 360, left: 34, right: 10, top: 26, foot: 24 };

function sideFrame(high, says, far, near, deep, above) {
  const view = draw("svg", { viewBox: "0 0 " + SIDE.wide + " " + high, role: "img", "aria-label": says, class: "side" });
  const x = (m) => SIDE.left + ((SIDE.wide - SIDE.left - SIDE.right) * (m - near)) / (far - near || 1);
  const y = (m) => SIDE.top + ((high - SIDE.top - SIDE.foot) * (m + above)) / (deep + above || 1);
  const path = (points) => "M" + points.map((p) => x(p[0]).toFixed(1) + " " + y(p[1]).toFixed(1)).join("L");
  const label = (text, px, py, anchor) => {
    const node = draw("text", { x: px, y: py, "text-anchor": anchor || "start", class: "side-text" }, view);
    node.textContent = text;
  };
  const foot = y(deep);
  const ticks = () => {
    const unit = data.units.depth[0], most = deep / unit, step = [1, 2, 5, 10, 20, 50].find((size) => most / size <= 5) || 100;
    for (let mark = step; mark <= most; mark += step) {
      draw("path", { d: "M" + (SIDE.left - 5) + " " + y(mark * unit) + "h5", stroke: "#111111", "stroke-width": 1.5 }, view);
      label("" + mark, SIDE.left - 7, y(mark * unit) + 4, "end");
    }
    label(data.units.depth[1], SIDE.left - 7, y(0) + 4, "end");
  };
  return { view: view, x: x, y: y, path: path, label: label, foot: foot, ticks: ticks };
}

// Bed and hold band over it; points are [distance, depth], in order.
function bedAndBand(f, floor, hold) {
  if (known(hold[0]) && known(hold[1])) {
    const upper = floor.map((p) => [p[0], Math.min(p[1], Math.max(0, p[1] - hold[1]))]);
    const lower = floor.map((p) => [p[0], Math.min(p[1], Math.max(0, p[1] - hold[0]))]).reverse();
    draw("path", { d: f.path(upper.concat(lower)) + "Z", fill: "#9ecae1", stroke: "#08519c", "stroke-dasharray": "4 3" }, f.view);
  }
  const first = floor[0], last = floor[floor.length - 1];
  draw("path", {
    d: f.path(floor) + "L" + f.x(last[0]) + " " + f.foot + "L" + f.x(first[0]) + " " + f.foot + "Z",
    fill: "#8c7860", stroke: "#111111", "stroke-width": 1.5,
  }, f.view);
}

// The swim passes a distance twice, going out while it sinks and coming in, over other ground each time: the bed
// drawn is that under the retrieve, and under the countdown only where the retrieve does not come.
function profile(away, bed, strip) {
  const from = known(strip) && strip < away.length - 2 ? strip : 0, points = [];
  let near = Infinity, far = -Infinity;
  away.forEach((m, k) => {
    if (k < from || !known(bed[k])) return;
    points.push([m, bed[k]]);
    near = Math.min(near, m);
    far = Math.max(far, m);
  });
  away.forEach((m, k) => {
    if (k < from && known(bed[k]) && (m < near || m > far)) points.push([m, bed[k]]);
  });
  points.sort((a, b) => a[0] - b[0]);
  // where the fly lingers the ground swings by: one point for each thirtieth of the way
  const wide = ((points.length ? points[points.length - 1][0] : 0) || 1) / 30, groups = [];
  for (const point of points) {
    const group = groups[groups.length - 1];
    if (group && point[0] - group[0][0] < wide) group.push(point);
    else groups.push([point]);
  }
  const mean = (group, k) => group.reduce((sum, point) => sum + point[k], 0) / group.length;
  return groups.map((group) => [mean(group, 0), mean(group, 1)]);
}

// A swim of the ladder, written as signs: see the payload.
const SIGNS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz-_";

function swimOf(text) {
  const at = (i) => SIGNS.indexOf(text[i]), far = (64 * at(0) + at(1)) / 10, deep = (64 * at(2) + at(3)) / 100;
  const out = [[], [], [], at(4)];
  for (let i = 5; i + 2 < text.length; i += 3) {
    [far, deep, deep].forEach((most, k) => out[k].push(at(i + k) === 63 ? null : (most * at(i + k)) / 62));
  }
  return out;
}

function sideView(spot, swim) {
  if (!swim) return null;
  const away = swim[0], fly = swim[1], bed = swim[2], hold = data.spots[spot].hold;
  const far = Math.max(...away) * 1.04 || 1, deep = Math.max(...bed.filter(known), ...fly.filter(known)) * 1.15 || 1;
  const crest = -0.07 * deep, floor = profile(away, bed, swim[3]).map((p) => [p[0], Math.max(p[1], crest)]);
  const way = away.map((m, i) => [m, fly[i]]).filter((p) => known(p[1])).map((p) => [p[0], Math.max(p[1], crest)]);
  const says = "Side view. The fly swims down to " + show(Math.max(...way.map((p) => p[1])), "depth")
    + (floor.length ? " over a bed at " + span(Math.min(...floor.map((p) => p[1])), Math.max(...floor.map((p) => p[1])), "depth") : "") + ".";
  const f = sideFrame(190, says, far, 0, deep, 0), end = SIDE.wide - SIDE.right;
  draw("rect", { x: SIDE.left, y: f.y(0), width: end - SIDE.left, height: f.foot - f.y(0), fill: "#eff3ff" }, f.view);
  if (floor.length > 1) bedAndBand(f, floor, hold);
  draw("path", { d: "M" + SIDE.left + " " + f.y(0) + "H" + end, stroke: "#1f4e79", "stroke-width": 2 }, f.view);
  draw("path", { d: f.path(way), fill: "none", stroke: "#ffffff", "stroke-width": 5.5, "stroke-linejoin": "round" }, f.view);
  draw("path", { d: f.path(way), fill: "none", stroke: "#5b1a8b", "stroke-width": 3, "stroke-linejoin": "round" }, f.view);
  if (known(swim[3]) && known(fly[swim[3]])) {
    const cx = f.x(away[swim[3]]), cy = f.y(fly[swim[3]]);
    draw("circle", { cx: cx, cy: cy, r: 5, fill: "#ffffff", stroke: "#5b1a8b", "stroke-width": 2.5 }, f.view);
    f.label("first strip", Math.min(cx, end - 36), cy - 9 > f.y(0) + 12 ? cy - 9 : cy + 19, "middle");
  }
  f.label("rod tip", SIDE.left, 16);
  f.label("landing, " + show(away[0], "length") + " out", Math.max(SIDE.left + 190, Math.min(f.x(away[0]) + 30, end)), 16, "end");
  f.ticks();
  f.label(show(far / 1.04, "length") + " at most; hold band dashed; depth drawn larger", end, 190 - 7, "end");
  return f.view;
}

// Where the fly swims in the water column at any level: bed, hold band, and the fly's 10 to 90 % range.
function columnView(a, hold) {
  if (!known(a.depth) || !a.flyDepth || !known(hold[0])) return null;
  const deep = a.depth * 1.12, says = "Water " + show(a.depth, "depth") + " deep; the fly swims at "
    + span(a.flyDepth[0], a.flyDepth[2], "depth") + ", the hold band is at "
    + span(Math.max(0, a.depth - hold[1]), a.depth - hold[0], "depth") + ".";
  const f = sideFrame(150, says, 1, 0, deep, 0), end = SIDE.wide - SIDE.right;
  draw("rect", { x: SIDE.left, y: f.y(0), width: end - SIDE.left, height: f.foot - f.y(0), fill: "#eff3ff" }, f.view);
  bedAndBand(f, [[0, a.depth], [1, a.depth]], hold);
  draw("path", { d: "M" + SIDE.left + " " + f.y(0) + "H" + end, stroke: "#1f4e79", "stroke-width": 2 }, f.view);
  const high = f.y(Math.min(a.flyDepth[0], a.depth)), low = f.y(Math.min(a.flyDepth[2], a.depth));
  draw("rect", { x: f.x(0.42), y: high, width: 26, height: Math.max(3, low - high), fill: "#5b1a8b", stroke: "#ffffff", "stroke-width": 2 }, f.view);
  const middle = f.y(Math.min(a.flyDepth[1], a.depth));
  draw("path", { d: "M" + (f.x(0.42) - 6) + " " + middle + "h38", stroke: "#111111", "stroke-width": 3 }, f.view);
  f.label("fly, 10 to 90 %", f.x(0.42) + 38, middle + 4);
  f.label("Depths at this level; its swim was not solved", SIDE.left, 16);
  f.ticks();
  return f.view;
}

// A run's bed across, seen looking downstream, under the level that is set.
function sectionView(i) {
  const run = data.runs[i], answer = answers.runs[i];
  if (!run.section || !known(answer.level)) return null;
  // n grows toward river left, which stands on the left hand of one who looks downstream
  const n = run.section[0].map((m) => -m).reverse(), z = run.section[1].slice().reverse();
  const floor = n.map((m, k) => [m, answer.level - z[k]]);
  const deepest = Math.max(...floor.map((p) => p[1])), dry = Math.max(0, ...floor.map((p) => -p[1]));
  if (deepest <= 0) return null;
  const says = "The bed across this run under the level that is set: deepest " + show(deepest, "depth") + ", "
    + show(n[n.length - 1] - n[0], "length") + " across what was drawn.";
  const f = sideFrame(190, says, n[n.length - 1], n[0], deepest * 1.12, Math.min(dry, deepest * 0.6));
  const wet = floor.map((p) => [p[0], Math.max(0, p[1])]);
  draw("path", { d: f.path(wet) + "L" + f.x(n[n.length - 1]) + " " + f.y(0) + "L" + f.x(n[0]) + " " + f.y(0) + "Z", fill: "#eff3ff" }, f.view);
  bedAndBand(f, floor, run.hold);
  draw("path", { d: "M" + SIDE.left + " " + f.y(0) + "H" + (SIDE.wide - SIDE.right), stroke: "#1f4e79", "stroke-width": 2 }, f.view);
  f.label("left bank", SIDE.left, 16);
  f.label("right bank", SIDE.wide - SIDE.right, 16, "end");
  f.ticks();
  f.label("hold band dashed; depth drawn larger", SIDE.wide - SIDE.right, 190 - 7, "end");
  return f.view;
}
