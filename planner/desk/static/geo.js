// Plane geometry on a small piece of the earth: metres east and north of a point, good to a millimetre over a run.
const RADIUS = 6371008.8, RAD = Math.PI / 180;

export function plane(origin) {
  const squeeze = Math.cos(origin[1] * RAD);
  return {
    to: (p) => [(p[0] - origin[0]) * RAD * RADIUS * squeeze, (p[1] - origin[1]) * RAD * RADIUS],
    from: (q) => [origin[0] + q[0] / (RAD * RADIUS * squeeze), origin[1] + q[1] / (RAD * RADIUS)],
  };
}

export function round(p) {
  return [Math.round(p[0] * 1e7) / 1e7, Math.round(p[1] * 1e7) / 1e7];
}

export function distance(a, b) {
  const q = plane(a).to(b);
  return Math.hypot(q[0], q[1]);
}

export function moved(p, east, north) {
  return round(plane(p).from([east, north]));
}

// Nearest point of a segment, as share along it and distance, in a plane
export function onSegment(p, a, b) {
  const dx = b[0] - a[0], dy = b[1] - a[1], long = dx * dx + dy * dy;
  const t = long === 0 ? 0 : Math.min(1, Math.max(0, ((p[0] - a[0]) * dx + (p[1] - a[1]) * dy) / long));
  const at = [a[0] + t * dx, a[1] + t * dy];
  return { t: t, at: at, far: Math.hypot(p[0] - at[0], p[1] - at[1]) };
}

// The nearest place on a line: its segment, point, distance and side (positive: left of the line's direction)
export function onLine(p, line) {
  const flat = plane(p), points = line.map(flat.to);
  let best = null;
  for (let i = 0; i + 1 < points.length; i += 1) {
    const found = onSegment([0, 0], points[i], points[i + 1]);
    if (best && found.far >= best.far) continue;
    const dx = points[i + 1][0] - points[i][0], dy = points[i + 1][1] - points[i][1];
    best = { i: i, t: found.t, far: found.far, at: flat.from(found.at), along: [dx, dy], side: dy * points[i][0] - dx * points[i][1] };
  }
  return best;
}

export function inside(p, ring) {
  let within = false;
  for (let i = 0, j = ring.length - 1; i < ring.length; j = i, i += 1) {
    const a = ring[i], b = ring[j];
    if (a[1] > p[1] !== b[1] > p[1] && p[0] < ((b[0] - a[0]) * (p[1] - a[1])) / (b[1] - a[1]) + a[0]) within = !within;
  }
  return within;
}

export function middle(points) {
  const sum = points.reduce((s, p) => [s[0] + p[0], s[1] + p[1]], [0, 0]);
  return [sum[0] / points.length, sum[1] / points.length];
}

function cross(a, b, c) {
  return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]);
}

// Share along a→b where it crosses c→d; null where it does not
export function crossing(a, b, c, d) {
  const one = cross(c, d, a), two = cross(c, d, b), three = cross(a, b, c), four = cross(a, b, d);
  if (one * two > 0 || three * four > 0 || one === two) return null;
  return one / (one - two);
}

export function crossesItself(ring) {
  const n = ring.length;
  for (let i = 0; i < n; i += 1) {
    for (let j = i + 2; j < n; j += 1) {
      if (i === 0 && j === n - 1) continue;
      if (crossing(ring[i], ring[(i + 1) % n], ring[j], ring[(j + 1) % n]) !== null) return true;
    }
  }
  return false;
}

// A ring (open: first point not repeated) in two parts along the cut a→b; null unless it crosses exactly two edges.
export function splitRing(ring, a, b) {
  const cuts = [];
  for (let i = 0; i < ring.length; i += 1) {
    const c = ring[i], d = ring[(i + 1) % ring.length], t = crossing(a, b, c, d);
    if (t !== null) cuts.push({ i: i, at: round([a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])]) });
  }
  if (cuts.length !== 2) return null;
  const [one, two] = cuts;
  return cleaned([one.at, ...ring.slice(one.i + 1, two.i + 1), two.at], [two.at, ...ring.slice(two.i + 1), ...ring.slice(0, one.i + 1), one.at]);
}

// The same between two of its corners
export function splitAtCorners(ring, i, j) {
  const [low, high] = i < j ? [i, j] : [j, i];
  return cleaned(ring.slice(low, high + 1), [...ring.slice(high), ...ring.slice(0, low + 1)]);
}

function cleaned(...rings) {
  const kept = rings.map((ring) => ring.filter((p, k) => k === 0 || distance(p, ring[k - 1]) > 0.01));
  return kept.every((ring) => ring.length >= 3) ? kept : null;
}

// For each edge of a ring: "left" or "right" bank seen downstream, "end" where it lies across the flow.
export function bankEdges(ring, flowline) {
  const line = flowline && flowline.length > 1 ? flowline : longAxis(ring);
  return ring.map((a, i) => {
    const b = ring[(i + 1) % ring.length], half = middle([a, b]), found = onLine(half, line);
    const edge = plane(a).to(b), size = Math.hypot(...edge) * Math.hypot(...found.along);
    const aligned = size === 0 ? 0 : Math.abs(edge[0] * found.along[0] + edge[1] * found.along[1]) / size;
    if (aligned < 0.6) return "end";
    return found.side > 0 ? "left" : "right";
  });
}

function longAxis(ring) {
  const mid = middle(ring), flat = plane(mid), points = ring.map(flat.to);
  let xx = 0, xy = 0, yy = 0;
  for (const [x, y] of points) {
    xx += x * x;
    xy += x * y;
    yy += y * y;
  }
  const turn = 0.5 * Math.atan2(2 * xy, xx - yy), far = Math.max(...points.map((p) => Math.hypot(...p)), 1);
  return [-far, far].map((k) => flat.from([k * Math.cos(turn), k * Math.sin(turn)]));
}

// Degrees from straight downstream (0) to straight upstream (180); NaN without a flowline
export function castAngle(stance, landing, flowline) {
  if (!flowline || flowline.length < 2) return NaN;
  const found = onLine(landing, flowline), cast = plane(stance).to(landing);
  const size = Math.hypot(...cast) * Math.hypot(...found.along);
  if (size === 0) return NaN;
  return Math.acos(Math.min(1, Math.max(-1, (cast[0] * found.along[0] + cast[1] * found.along[1]) / size))) / RAD;
}

export function lineLength(line) {
  let sum = 0;
  for (let i = 1; i < line.length; i += 1) sum += distance(line[i - 1], line[i]);
  return sum;
}

// Points along the part of a line that lies within a ring, at even steps
export function alongWithin(line, ring, count) {
  const found = [], total = lineLength(line), step = total / (count * 6 || 1);
  let left = 0;
  for (let i = 1; i < line.length; i += 1) {
    const long = distance(line[i - 1], line[i]);
    for (let d = left; d < long; d += step) {
      const t = d / long, p = [line[i - 1][0] + t * (line[i][0] - line[i - 1][0]), line[i - 1][1] + t * (line[i][1] - line[i - 1][1])];
      if (inside(p, ring)) found.push(p);
    }
    left = (left - long) % step;
    if (left < 0) left += step;
  }
  return found;
}

// A latitude or longitude as typed: 43.2041, -90.8, 43° 12.25' N, 43°12'15"N. NaN when it is none.
export function coordinate(words, limit) {
  const text = String(words ?? "").trim().toUpperCase().replace(/[′’]/g, "'").replace(/[″”]/g, '"').replace(/−/g, "-");
  const sign = /[SW]/.test(text) || /^-/.test(text) ? -1 : 1;
  const parts = text.replace(/[NSEW+-]/g, " ").replace(/[°'"D]/g, " ").trim().split(/\s+/).map((part) => Number(part.replace(",", ".")));
  if (!/\d/.test(text) || !/^[-+NSEWD\d\s.,°'"]+$/.test(text) || parts.length > 3 || parts.some((part) => !Number.isFinite(part))) return NaN;
  if (parts.slice(1).some((part) => part >= 60 || part < 0)) return NaN;
  const value = sign * (parts[0] + (parts[1] || 0) / 60 + (parts[2] || 0) / 3600);
  return Math.abs(value) <= limit ? value : NaN;
}

// "43.2041, -90.8073" or with a space, semicolon or tab between, latitude first; null when it is no pair
export function pair(words) {
  const text = String(words ?? "").trim();
  const found = text.split(/\s*[;\t]\s*|,\s+/).length === 2 ? text.split(/\s*[;\t]\s*|,\s+/) : text.split(/,|\s+/).length === 2 ? text.split(/,|\s+/) : null;
  if (!found) return null;
  const lat = coordinate(found[0], 90), lon = coordinate(found[1], 180);
  return Number.isFinite(lat) && Number.isFinite(lon) ? [lon, lat] : null;
}
