// The side view of an item, drawn from the bench and from its worst move; record/page_side.py draws the same.
const SVG = "http://www.w3.org/2000/svg";

function draw(name, attributes, ...content) {
  const node = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) {
    if (value !== null) { node.setAttribute(key, typeof value === "number" ? String(Math.round(value * 1e3) / 1e3) : value); }
  }
  node.append(...content);
  return node;
}

function pathText(points) { return "M" + points.map(p => p.map(c => Math.round(c * 1e3) / 1e3).join(" ")).join("L"); }

// Geometry -----------------------------------------------------------------------------------------------------

function hull(points) {
  const sorted = points.slice().sort((a, b) => a[0] - b[0] || a[1] - b[1]);
  const turn = (a, b, c) => (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]);
  const half = list => list.reduce((chain, point) => {
    while (chain.length > 1 && turn(chain[chain.length - 2], chain[chain.length - 1], point) <= 0) { chain.pop(); }
    return [...chain, point];
  }, []).slice(0, -1);
  return [...half(sorted), ...half(sorted.reverse())];
}

// A convex polygon grown by a radius, counter-clockwise.
function grown(vertices, radius) {
  const round = 64;
  return hull(radius > 0 ? vertices.flatMap(([x, y]) => Array.from({ length: round }, (_, k) =>
    [x + radius * Math.cos(2 * Math.PI * k / round), y + radius * Math.sin(2 * Math.PI * k / round)])) : vertices);
}

// What two convex polygons share (I. Sutherland and G. Hodgman, Reentrant polygon clipping, CACM 17, 1974).
function shared(polygon, window_) {
  return window_.reduce((left, a, k) => {
    const b = window_[(k + 1) % window_.length];
    const side = p => (b[0] - a[0]) * (p[1] - a[1]) - (b[1] - a[1]) * (p[0] - a[0]);
    return left.flatMap((p, j) => {
      const q = left[(j + 1) % left.length], here = side(p), there = side(q), found = here >= 0 ? [p] : [];
      if (here >= 0 !== there >= 0) {
        const part = here / (here - there);
        found.push([p[0] + part * (q[0] - p[0]), p[1] + part * (q[1] - p[1])]);
      }
      return found;
    });
  }, polygon);
}

function fromSegment([px, py], [ax, ay], [bx, by]) {
  const dx = bx - ax, dy = by - ay, long = dx * dx + dy * dy;
  const part = long > 0 ? Math.min(1, Math.max(0, ((px - ax) * dx + (py - ay) * dy) / long)) : 0;
  return Math.hypot(px - ax - part * dx, py - ay - part * dy);
}

function inside(point, polygon) {
  return polygon.length > 2 && polygon.every((a, k) => {
    const b = polygon[(k + 1) % polygon.length];
    return (b[0] - a[0]) * (point[1] - a[1]) - (b[1] - a[1]) * (point[0] - a[0]) >= 0;
  });
}

// How far a place is from a piece of a footprint.
function fromPiece(point, [vertices, radius]) {
  if (inside(point, vertices)) { return 0; }
  const near = Math.min(...vertices.map((a, k) => fromSegment(point, a, vertices[(k + 1) % vertices.length])));
  return Math.max(0, near - radius);
}

// How far a straight way is from a piece of a footprint.
function wayFromPiece(start, end, piece) {
  const [vertices, radius] = piece;
  if (crosses(start, end, vertices)) { return 0; }
  const near = [fromPiece(start, piece), fromPiece(end, piece)];
  return Math.max(0, Math.min(...near, ...vertices.map(v => fromSegment(v, start, end) - radius)));
}

function crosses(start, end, vertices) {
  const turn = (a, b, c) => Math.sign((b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]));
  return inside(start, vertices) || vertices.length > 1 && vertices.some((a, k) => {
    const b = vertices[(k + 1) % vertices.length];
    return turn(start, end, a) * turn(start, end, b) < 0 && turn(a, b, start) * turn(a, b, end) < 0;
  });
}

// What is seen from the side -----------------------------------------------------------------------------------

function profileOf(item, bench) {
  const sight = item.sight, [x0, y0] = sight.start, [x1, y1] = sight.end;
  const sections = bench.tools[sight.tool];
  const profile = { sections: sections, programmedZ: sight.lowest, neededZ: item.clear === null ? null : item.clear / 1e6,
    writtenZ: item.written === null ? null : item.written / 1e6, tightZ: sight.tightZ, round: sight.round,
    table: bench.table, notes: [] };
  if ([x0, y0, x1, y1].includes(null)) { return frontOf(profile, sight, bench); }
  const length = Math.hypot(x1 - x0, y1 - y0);
  const unit = length > 1e-6 ? [(x1 - x0) / length, (y1 - y0) / length] : [1, 0];
  const along = ([x, y]) => (x - x0) * unit[0] + (y - y0) * unit[1];
  const boxed = bench.box && length > 1e-6 && sight.rapid;
  const [beside, above, corner] = sight.rapid ? [bench.beside, bench.above, sight.corner] : [0, 0, 0];
  const widest = Math.max(...sections.map(section => section[1]));
  const swept = boxed ? [[Math.min(x0, x1), Math.min(y0, y1)], [Math.max(x0, x1), Math.min(y0, y1)],
    [Math.max(x0, x1), Math.max(y0, y1)], [Math.min(x0, x1), Math.max(y0, y1)]] : [[x0, y0], [x1, y1]];
  const silhouettes = bench.solids.map(solid => {
    const reach = beside + solid.tolerance + corner, round = grown(swept, widest + reach);
    const places = solid.pieces.filter(([vertices, radius]) => mayMeet(vertices, radius, round))
      .flatMap(([vertices, radius]) => shared(grown(vertices, radius), round)).map(along);
    return places.length ? { ...silhouette(solid, bench, reach, solid.top + solid.tolerance + above + corner),
      begin: Math.min(...places), end: Math.max(...places), solid: solid,
      beside: Math.min(...solid.pieces.map(piece => wayFromPiece([x0, y0], [x1, y1], piece))) } : null;
  }).filter(Boolean);
  if (boxed) {
    profile.notes.push("The control may bend a rapid: what is needed holds for every path between its ends, " +
      "the stepped line for the straight one.");
  }
  if (sight.round) {
    profile.notes.push("The tool does not come this way any more: it is led round, as the plan shows.");
  }
  const heights = [sight.start[2], sight.end[2]];
  return { ...profile, length: length, silhouettes: silhouettes, front: false, ends: [[x0, y0], [x1, y1]],
    tight: sight.tight ? along(sight.tight) : length / 2,
    programmed: heights.includes(null) ? [] : [[0, heights[0]], [length, heights[1]]],
    written: writtenWay(item, along), stock: stockOf(bench, along),
    floor: floorOf(bench.solids, sections, length, widest, s => [x0 + s * unit[0], y0 + s * unit[1]],
      [beside + corner + sight.grow, above + corner]) };
}

// Whether the boxes round a piece and a polygon meet: most of what stands on a full table is far away.
function mayMeet(vertices, radius, polygon) {
  return [0, 1].every(axis => {
    const ours = vertices.map(v => v[axis]), theirs = polygon.map(v => v[axis]);
    return Math.min(...ours) - radius <= Math.max(...theirs) && Math.max(...ours) + radius >= Math.min(...theirs);
  });
}

function silhouette(solid, bench, reach, clearTop) {
  return { name: bench.names[solid.of], top: solid.top, reach: reach, clearTop: clearTop,
    bottom: bench.table !== null ? Math.min(bench.table, solid.top - 1) : solid.top - 30 };
}

function writtenWay(item, along) {
  const points = [];
  for (const way of item.sight.rapid ? item.mended : []) {
    for (const [x, y, z] of way) {
      const point = [x === null || y === null ? null : along([x, y]), z], last = points[points.length - 1];
      if (!point.includes(null) && !(last && last[0] === point[0] && last[1] === z)) { points.push(point); }
    }
  }
  return points;
}

function stockOf(bench, along) {
  if (!bench.stock) { return null; }
  const [[x, y], [wide, deep], top, thickness] = bench.stock;
  const places = [[x, y], [x + wide, y], [x, y + deep], [x + wide, y + deep]].map(along);
  return [Math.min(...places), Math.max(...places), top, bench.table !== null ? bench.table : top - (thickness || 10)];
}

// Stretches of the lowest clear height of the tip along the straight way.
function floorOf(solids, sections, length, widest, at, [beside, above]) {
  const samples = 240, margin = widest + 20, stretches = [], way = [at(-margin), at(length + margin)];
  const near = solids.filter(solid => solid.pieces.some(([vertices, radius]) =>
    mayMeet(vertices, radius + widest + solid.tolerance + beside, way)));
  let open = false;
  for (let k = 0; k < samples; k++) {
    const s = -margin + (length + 2 * margin) * k / (samples - 1), place = at(s);
    let height = -Infinity;
    for (const solid of near) {
      const away = Math.min(...solid.pieces.map(piece => fromPiece(place, piece)));
      for (const [from, radius] of sections) {
        if (away < radius + solid.tolerance + beside) {
          height = Math.max(height, solid.top + solid.tolerance + above - from);
        }
      }
    }
    if (height === -Infinity) { open = false; continue; }
    if (!open) { stretches.push([]); }
    open = true;
    const stretch = stretches[stretches.length - 1], n = stretch.length;
    if (n > 1 && stretch[n - 1][1] === height && stretch[n - 2][1] === height) { stretch.pop(); }
    stretch.push([s, height]);
  }
  return stretches;
}

function frontOf(profile, sight, bench) {
  const bounds = solid => solid.pieces.flatMap(([vertices, radius]) => vertices.flatMap(v => [v[0] - radius, v[0] + radius]));
  const all = bench.solids.flatMap(bounds), left = all.length ? Math.min(...all) : 0;
  const right = all.length ? Math.max(...all) : 100;
  const silhouettes = bench.solids.map(solid => ({
    ...silhouette(solid, bench, bench.beside + solid.tolerance + sight.corner,
      solid.top + solid.tolerance + bench.above + sight.corner),
    begin: Math.min(...bounds(solid)) - left, end: Math.max(...bounds(solid)) - left, solid: solid, beside: 0 }));
  const highest = silhouettes.reduce((best, s) => !best || s.top > best.top ? s : best, null);
  return { ...profile, length: right - left, silhouettes: silhouettes, front: true, ends: null, floor: [], programmed: [],
    tight: highest ? (highest.begin + highest.end) / 2 : (right - left) / 2, tightZ: sight.lowest,
    written: profile.writtenZ === null ? [] : [[0, profile.writtenZ], [right - left, profile.writtenZ]],
    stock: stockOf(bench, ([x]) => x - left),
    notes: ["Where the tool is at this rapid is not known, so it must clear everything on the table: this is the bench " +
      "from its front, X from left to right."] };
}
