// From what the gauge reads to the answers that hold there. Between two steps of the ladder depth and countdown are
// those of the lower step and cautions those of the higher; beyond its ends the slider stays at the end, what is raised
// there stands, and no depth, current or count is given.
const LEVEL_WORDS = ["none raised", "heads-up", "think again", "stay off"];
const state = data.ladders.map(() => null); // null: the plan's own answers; else the reading in SI

function levelLine(level) {
  return !known(level) ? "Caution not assessed" : level === 0 ? "No caution raised" : "Caution " + level + " of 3: " + LEVEL_WORDS[level];
}

function cautionAt(index) {
  const row = known(index) ? data.cautions[index] : null;
  if (!row) return { level: null, line: levelLine(null), short: "not assessed", checks: "", reasons: [], low: [], missing: [], noNotes: [] };
  return {
    level: row[0], line: words(row[1]), checks: words(row[2]), reasons: row[3], low: row[4], short: words(row[5]), missing: row[6],
    noNotes: row[7],
  };
}

// Not assessed stands above none raised and below what is raised: it is no credit, and hides nothing.
function height(caution) {
  return known(caution.level) ? caution.level : 0.5;
}

// the higher of two cautions; a tie goes to the second
function higher(a, b) {
  return height(a) > height(b) ? a : b;
}

// What a step of the ladder could not assess keeps the level that the plan gave it: missing input never lowers one.
function guarded(caution, planned) {
  const unmade = caution.missing.map((row) => row[0]);
  const kept = planned.reasons.filter((reason) => unmade.includes(reason[2]));
  const level = Math.max(height(caution), ...kept.map((reason) => reason[0]), known(caution.level) ? -1 : height(planned));
  if (level <= height(caution)) return caution;
  const reasons = caution.reasons.concat(kept.length ? kept : planned.reasons);
  return Object.assign({}, caution, { level: level, line: levelLine(level), short: level + ": " + LEVEL_WORDS[level], reasons: reasons });
}

// Beyond the ladder nothing was worked out: what is raised at its end stands, and "none raised" is no answer there.
function beyondLadder(caution, where) {
  if (!where.beyond || height(caution) > 0) return caution;
  return Object.assign({}, caution, { level: null, line: levelLine(null), short: "not assessed" });
}

// No depth, current or count holds beyond the ladder: its end's would look like answers for the reading that was set.
function beyondWords(ladder, where) {
  const end = show(ladder.at[where.beyond > 0 ? ladder.at.length - 1 : 0], ladder.kind);
  return "No answer: your reading is " + (where.beyond > 0 ? "above the highest" : "below the lowest") + " level worked out, " + end + ".";
}

function place(ladder, value) {
  const at = ladder.at, last = at.length - 1, near = 2e-4 * Math.max(1, Math.abs(value));
  if (value < at[0] - near) return { lower: 0, upper: 0, beyond: -1 };
  if (value > at[last] + near) return { lower: last, upper: last, beyond: 1 };
  let lower = 0;
  while (lower < last && at[lower + 1] <= value + near) lower += 1;
  const upper = Math.abs(at[lower] - value) <= near || lower === last ? lower : lower + 1;
  return { lower: lower, upper: upper, beyond: 0 };
}

function spotFrom(row, caution) {
  const r = row || [];
  return {
    depth: r[0], speed: r[1], line: words(r[2]), fly: words(r[3]), from: r[4], to: r[5], strip: r[6], touch: r[7],
    hang: r[8], band: r[9], caution: caution, mode: words(r[11]), why: words(r[12]), lift: r[13], flyDepth: r[14] || null,
    swim: r[15] || null, leader: r[16],
  };
}

function runFrom(row, caution) {
  const r = row || [];
  let speed = r[5];
  if (!known(speed) && known(r[2]) && known(r[3])) speed = Math.sqrt(r[2] * r[3]);
  return { level: r[0], depth: r[1], low: r[2], high: r[3], speed: speed, caution: caution };
}

function answersNow() {
  const out = {
    spots: data.spots.map((s) => Object.assign(spotFrom(s.row, cautionAt(s.row[10])), { planned: true })),
    runs: data.runs.map((r) => runFrom(r.row, cautionAt(r.row[4]))),
    places: [],
    planned: true,
  };
  const cautions = [];
  data.ladders.forEach((ladder, l) => {
    const value = state[l];
    if (value === null) {
      out.places.push(null);
      return;
    }
    const where = place(ladder, value);
    out.places.push(where);
    out.planned = false;
    const both = (rows, k, column, planned) => {
      const a = rows[where.lower][k], b = rows[where.upper][k];
      const found = higher(cautionAt(a ? a[column] : null), cautionAt(b ? b[column] : null));
      return beyondLadder(guarded(found, planned), where);
    };
    ladder.spots.forEach((i, k) => {
      const caution = both(ladder.spotRows, k, 10, cautionAt(data.spots[i].row[10]));
      out.spots[i] = where.beyond ? spotFrom([], caution) : spotFrom(ladder.spotRows[where.lower][k], caution);
      if (where.beyond) Object.assign(out.spots[i], { beyond: true, why: beyondWords(ladder, where) });
    });
    ladder.runs.forEach((i, k) => {
      const caution = both(ladder.runRows, k, 4, cautionAt(data.runs[i].row[4]));
      out.runs[i] = runFrom(where.beyond ? [] : ladder.runRows[where.lower][k], caution);
      out.runs[i].beyond = where.beyond !== 0;
    });
    const pair = higher(cautionAt(ladder.caution[where.lower]), cautionAt(ladder.caution[where.upper]));
    cautions.push(beyondLadder(guarded(pair, cautionAt(data.caution)), where));
  });
  // A gauge that was not set still stands at the plan's level.
  if (cautions.length < data.ladders.length || cautions.length === 0) cautions.push(cautionAt(data.caution));
  out.caution = cautions.reduce(higher);
  return out;
}

// The step from which − and + count: the reading's own, or the one at or below the planned level.
function stepNow(l) {
  const ladder = data.ladders[l], value = state[l] === null ? ladder.planned : state[l];
  return known(value) ? place(ladder, value) : { lower: 0, upper: 0, beyond: 0 };
}

function stepBy(l, by) {
  const ladder = data.ladders[l], now = stepNow(l);
  let next = by < 0 && now.upper !== now.lower ? now.lower : now.lower + by;
  if (by < 0 && now.upper === now.lower) next = now.lower - 1;
  if (now.beyond) next = now.lower;
  next = Math.min(ladder.at.length - 1, Math.max(0, next));
  setStep(l, next);
}

// The gauge whose ladder speaks for a run; the first when none does.
function ladderOf(run) {
  return Math.max(0, data.ladders.findIndex((ladder) => ladder.runs.includes(run)));
}

function setStep(l, step) {
  state[l] = data.ladders[l].at[step];
  repaint();
}
