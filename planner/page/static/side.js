// Side view of a swim: the fly's way over the bed, seen across the cast, the rod tip on the left.
// The swim passes a distance more than once, over other ground each time: the bed drawn is the mean there.
function profile(away, bed, far) {
  const bins = 24, sums = Array.from({ length: bins + 1 }, () => [0, 0, 0]);
  away.forEach((m, i) => {
    if (!known(bed[i])) return;
    const bin = sums[Math.round((bins * m) / far)];
    bin[0] += m;
    bin[1] += bed[i];
    bin[2] += 1;
  });
  return sums.filter((bin) => bin[2]).map((bin) => [bin[0] / bin[2], bin[1] / bin[2]]);
}

function sideView(spot) {
  const swim = data.spots[spot].swim;
  if (!swim) return null;
  const away = swim[0], fly = swim[1], bed = swim[2], hold = data.spots[spot].hold;
  const wide = 640, high = 260, left = 58, right = 14, top = 34, foot = 34;
  const far = Math.max(...away) * 1.04 || 1;
  const deep = Math.max(...bed.filter(known), ...fly.filter(known)) * 1.15 || 1;
  const x = (m) => left + ((wide - left - right) * m) / far;
  const y = (m) => top + ((high - top - foot) * m) / deep;
  const path = (points) => "M" + points.map((p) => x(p[0]).toFixed(1) + " " + y(p[1]).toFixed(1)).join("L");
  const floor = profile(away, bed, far);
  const way = away.map((m, i) => [m, fly[i]]).filter((p) => known(p[1]));
  const deepest = Math.max(...way.map((p) => p[1]));
  const says = "Side view. The fly swims down to " + show(deepest, "depth")
    + (floor.length ? " over a bed at " + span(Math.min(...floor.map((p) => p[1])), Math.max(...floor.map((p) => p[1])), "depth") : "") + ".";
  const view = draw("svg", { viewBox: "0 0 " + wide + " " + high, role: "img", "aria-label": says, class: "side" });
  draw("rect", { x: left, y: top, width: wide - left - right, height: high - top - foot, fill: "#eff3ff" }, view);
  if (floor.length > 1) {
    const ordered = floor.slice().sort((a, b) => a[0] - b[0]);
    if (known(hold[0]) && known(hold[1])) {
      const upper = ordered.map((p) => [p[0], Math.max(0, p[1] - hold[1])]);
      const lower = ordered.map((p) => [p[0], Math.max(0, p[1] - hold[0])]).reverse();
      draw("path", { d: path(upper.concat(lower)) + "Z", fill: "#9ecae1", stroke: "#08519c", "stroke-dasharray": "5 4" }, view);
    }
    const last = ordered[ordered.length - 1];
    draw("path", { d: path(ordered) + "L" + x(last[0]) + " " + (high - foot) + "L" + x(ordered[0][0]) + " " + (high - foot) + "Z", fill: "#8c7860", stroke: "#111111", "stroke-width": 2 }, view);
  }
  draw("path", { d: "M" + left + " " + top + "H" + (wide - right), stroke: "#1f4e79", "stroke-width": 3 }, view);
  draw("path", { d: path(way), fill: "none", stroke: "#ffffff", "stroke-width": 7, "stroke-linejoin": "round" }, view);
  draw("path", { d: path(way), fill: "none", stroke: "#111111", "stroke-width": 3.5, "stroke-linejoin": "round" }, view);
  const label = (text, px, py, anchor) => {
    const node = draw("text", { x: px, y: py, "text-anchor": anchor || "start", class: "side-text" }, view);
    node.textContent = text;
  };
  if (known(swim[3]) && known(fly[swim[3]])) {
    const cx = x(away[swim[3]]), cy = y(fly[swim[3]]);
    draw("circle", { cx: cx, cy: cy, r: 7, fill: "#ffffff", stroke: "#111111", "stroke-width": 3 }, view);
    label("first strip", Math.min(cx, wide - 60), Math.max(cy - 13, top + 16), "middle");
  }
  label("rod tip", left, 22);
  label("landing", Math.min(x(away[0]), wide - right), 22, "end");
  label("hold band dashed", wide - right, high - 10, "end");
  const shown = data.units.depth[0], most = deep / shown, step = [1, 2, 5, 10, 20, 50].find((size) => most / size <= 5) || 100;
  for (let mark = step; mark <= most; mark += step) {
    const depth = mark * shown;
    draw("path", { d: "M" + (left - 6) + " " + y(depth) + "h6", stroke: "#111111", "stroke-width": 2 }, view);
    label("" + mark, left - 9, y(depth) + 6, "end");
  }
  label(data.units.depth[1], left - 9, top + 6, "end");
  label(show(far / 1.04, "length") + " from the rod tip; depth drawn larger", left, high - 10);
  return view;
}
