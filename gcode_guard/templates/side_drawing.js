// Labels that keep clear of each other and of what was taken before (record/page_svg.py, LabelBoard).
class Board {
  constructor(frame, size) { this.frame = frame; this.size = size; this.taken = [[], []]; }

  take(box, soft) { this.taken[soft ? 1 : 0].push(box); }

  takeLine([x0, y0], [x1, y1], wide) {
    const half = wide / 2, slant = Math.min(Math.abs(x1 - x0), Math.abs(y1 - y0));
    const long = Math.max(Math.abs(x1 - x0), Math.abs(y1 - y0));
    const pieces = slant > half ? Math.max(1, Math.min(40, Math.floor(long / (2 * this.size)))) : 1;
    for (let k = 0; k < pieces; k++) {
      const at = (from, to, part) => from + (to - from) * part / pieces;
      const xs = [at(x0, x1, k), at(x0, x1, k + 1)].sort((a, b) => a - b);
      const ys = [at(y0, y1, k), at(y0, y1, k + 1)].sort((a, b) => a - b);
      this.take([xs[0] - half, ys[0] - half, xs[1] + half, ys[1] + half], true);
    }
  }

  place(words, target) {
    const width = words.length * this.size * 0.56, height = this.size * 1.25;
    const middle = [(target[0] + target[2]) / 2, (target[1] + target[3]) / 2];
    if (width < target[2] - target[0] && height < target[3] - target[1]) {
      const box = this.free(middle[0] - width / 2, middle[1] - height / 2, width, height, 0);
      if (box) { return this.put(words, box, null); }
    }
    for (const [rings, degree] of [[12, 1], [12, 0]]) {
      for (let ring = 0; ring < rings; ring++) {
        for (const [x, y] of this.round(target, middle, width, height, this.size * (0.5 + 0.9 * ring))) {
          const box = this.free(x, y, width, height, degree);
          if (box) { return this.put(words, box, ring ? [this.nearest(middle, box), this.into(target, box)] : null); }
        }
      }
    }
    return null;
  }

  round(target, middle, width, height, gap) {
    const right = target[2] + gap, left = target[0] - gap - width, over = target[3] + gap;
    const under = target[1] - gap - height, across = middle[0] - width / 2, up = middle[1] - height / 2;
    return [[right, up], [left, up], [across, over], [across, under], [right, over], [left, over], [right, under],
      [left, under], [right, target[3] - height], [right, target[1]], [left, target[3] - height], [left, target[1]],
      [target[0], over], [target[2] - width, over], [target[0], under], [target[2] - width, under]];
  }

  free(x, y, width, height, degree) {
    const box = [x, y, x + width, y + height], f = this.frame;
    if (box[0] < f[0] || box[1] < f[1] || box[2] > f[2] || box[3] > f[3]) { return null; }
    const meets = other => box[0] < other[2] && other[0] < box[2] && box[1] < other[3] && other[1] < box[3];
    return this.taken.slice(0, degree + 1).some(boxes => boxes.some(meets)) ? null : box;
  }

  put(words, box, leader) {
    this.take(box);
    if (leader) { this.takeLine(leader[0], leader[1], 0.1 * this.size); }
    return { text: words, x: box[0], y: box[1] + 0.28 * this.size, leader: leader };
  }

  nearest([x, y], box) { return [Math.min(Math.max(x, box[0]), box[2]), Math.min(Math.max(y, box[1]), box[3])]; }

  into(target, label) {
    const edge = this.nearest([(label[0] + label[2]) / 2, (label[1] + label[3]) / 2], target);
    return [0, 1].map(axis => edge[axis] + ((target[axis] + target[axis + 2]) / 2 - edge[axis]) / 3);
  }
}

// The drawing of a profile, both ways to one scale. `figures` writes lengths (mm) in the units of the setup.
class Side {
  constructor(profile, figures) {
    this.p = profile;
    this.figures = figures;
    const p = profile, sections = p.sections, widest = Math.max(...sections.map(section => section[1]));
    const known = list => list.filter(value => value !== null);
    const named = known([p.programmedZ, p.neededZ, p.writtenZ]);
    const levels = [...named, ...known([p.tightZ]), ...[...p.programmed, ...p.written].map(point => point[1]),
      ...p.silhouettes.flatMap(s => [s.clearTop, Math.min(s.top, s.clearTop) - 8])];
    const tips = known([p.tightZ, p.writtenZ]);
    if (tips.length) { levels.push(Math.max(...tips) + sections[sections.length - 1][0] + 22); }
    if (p.stock) { levels.push(p.stock[2], Math.max(p.stock[3], p.stock[2] - 25)); }
    if (p.table !== null) { levels.push(p.table - 3); }
    if (!levels.length) { levels.push(0, 50); }
    const low = Math.min(...levels), high = Math.max(...levels), margin = 0.03 * (high - low);
    this.low = low - margin;
    this.high = high + margin;
    const places = [0, p.length, p.tight - widest, p.tight + widest, ...p.written.map(point => point[0]),
      ...p.silhouettes.flatMap(s => [s.begin - s.reach, s.end + s.reach])];
    this.left = Math.min(...places) - 6;
    this.right = Math.max(...places) + 6;
    const wide = this.right - this.left, tall = this.high - this.low;
    if (wide < tall / 0.55) {
      this.left -= (tall / 0.55 - wide) / 2;
      this.right = this.left + tall / 0.55;
    } else if (wide > tall / 0.3 && !p.front) {
      this.left = Math.min(Math.max(this.left, p.tight - tall / 0.6), this.right - tall / 0.3);
      this.right = this.left + tall / 0.3;
    }
    this.size = (this.right - this.left) / 46;
    const lines = [...named, ...p.silhouettes.map(s => s.clearTop)];
    this.high = Math.max(this.high, (lines.length ? Math.max(...lines) : this.low) +
      1.6 * this.size * Math.min(4, this.shown().length));
  }

  crossed(solid) { return solid.beside < this.p.sections[0][1]; }

  // The solid that stands for each obstacle by name: the highest that the way crosses, if it crosses one.
  shown() {
    const found = new Map();
    this.p.silhouettes.slice().sort((a, b) => this.crossed(a) - this.crossed(b) || a.top - b.top).forEach(s => {
      if (s.end > this.left && s.begin < this.right) { found.set(s.name, s); }
    });
    return [...found.values()];
  }

  drawn(name) {
    const size = this.size, wide = this.right - this.left, tall = this.high - this.low;
    const world = draw("g", { transform: "scale(1 -1)" }, ...this.ground(), ...this.clearances(), ...this.solids(),
      ...this.levels(), ...this.ways(), ...this.tools());
    const round = value => Math.round(value * 1e3) / 1e3;
    return draw("svg", { class: "side", role: "img", "aria-label": name, viewBox: [this.left - 4.4 * size,
      -this.high - 0.6 * size, wide + 19.4 * size, tall + 3.8 * size].map(round).join(" ") },
      draw("rect", { class: "field", x: this.left, y: -this.high, width: wide, height: tall }),
      draw("svg", { x: this.left, y: -this.high, width: wide, height: tall,
        viewBox: [this.left, -this.high, wide, tall].map(round).join(" ") }, world),
      draw("g", { class: "words", "font-size": size }, ...this.axes(), ...this.names(), ...this.levelNames()));
  }

  ground() {
    const p = this.p, found = [];
    if (p.table !== null) {
      found.push(draw("rect", { class: "table", x: this.left, y: this.low, width: this.right - this.left,
        height: Math.max(0, p.table - this.low) }));
    }
    if (p.stock) {
      const begin = Math.max(p.stock[0], this.left), end = Math.min(p.stock[1], this.right);
      const bottom = Math.max(p.stock[3], this.low);
      if (end > begin) {
        found.push(draw("rect", { class: "stock", x: begin, y: bottom, width: end - begin, height: p.stock[2] - bottom }));
      }
    }
    return found;
  }

  clearances() {
    return this.p.silhouettes.map(s => draw("rect", { class: "clearance", x: s.begin - s.reach, y: this.low,
      width: s.end - s.begin + 2 * s.reach, height: s.clearTop - this.low }));
  }

  solids() {
    return this.p.silhouettes.map(s => {
      const bottom = Math.max(s.bottom, this.low);
      return draw("rect", { class: this.crossed(s) ? "solid" : "solid beside", x: s.begin, y: bottom,
        width: Math.max(s.end - s.begin, 0.2), height: s.top - bottom });
    });
  }

  named() {
    const p = this.p;
    return [["programmed", p.programmedZ], ["needed", p.neededZ], ["written", p.writtenZ]].filter(row => row[1] !== null);
  }

  levels() {
    const floor = this.p.floor.filter(stretch => stretch.length > 1);
    return [...this.named().map(([name, z]) => draw("line", { class: "level " + name, x1: this.left, y1: z,
      x2: this.right, y2: z })), ...(floor.length ? [draw("path", { class: "floor", d: floor.map(pathText).join("") })] : [])];
  }

  ways() {
    return [["programmed", this.p.programmed], ["mended", this.p.written]]
      .filter(([name, way]) => way.length > 1 && !(name === "mended" && this.p.round))
      .map(([name, way]) => draw("path", { class: name, d: pathText(way) }));
  }

  tools() {
    const p = this.p, found = [];
    if (p.tightZ !== null) { found.push(["tool programmed-tool", p.tightZ]); }
    if (p.writtenZ !== null && p.writtenZ !== p.tightZ && !p.round) { found.push(["tool written-tool", p.writtenZ]); }
    return found.map(([name, tip]) => draw("polygon", { class: name, points: this.outline(tip).map(point =>
      point.map(c => Math.round(c * 1e3) / 1e3).join(",")).join(" ") }));
  }

  outline(tip) {
    const sections = this.p.sections, axis = this.p.tight, top = this.high + 5;
    const right = sections.flatMap(([from, radius], k) => {
      const low = tip + from, high = k + 1 < sections.length ? tip + sections[k + 1][0] : Math.max(top, low + 1);
      return [[axis + radius, low], [axis + radius, high]];
    });
    return [...right, ...right.slice().reverse().map(([x, z]) => [2 * axis - x, z])];
  }

  axes() {
    const size = this.size, p = this.p, unit = this.figures.unit, found = [];
    const step = niceStep((this.high - this.low) / unit, 5) * unit;
    const word = (text, x, y, anchor) => found.push(draw("text", { x: x, y: y, "text-anchor": anchor, class: "tick" }, text));
    const tick = (x1, y1, x2, y2) => found.push(draw("line", { class: "tickmark", x1: x1, y1: y1, x2: x2, y2: y2 }));
    for (let z = Math.ceil(this.low / step) * step; z <= this.high; z += step) {
      word(this.figures.short(z), this.left - 0.4 * size, -z + 0.35 * size, "end");
      tick(this.left, -z, this.left + 0.5 * size, -z);
    }
    word("Z", this.left - 4 * size, -this.high + size, null);
    const first = Math.max(0, this.left), last = Math.min(p.length, this.right);
    const place = at => {
      const [[x0, y0], [x1, y1]] = p.ends, part = p.length < 1e-6 ? 0 : at / p.length;
      return "X " + this.figures.short(x0 + (x1 - x0) * part) + "  Y " + this.figures.short(y0 + (y1 - y0) * part);
    };
    const names = !p.ends ? [[0, "left end of the bench"], [p.length, "right end"]] :
      p.length < 1e-6 ? [[0, place(0)]] : [[first, place(first)], [last, place(last)]];
    names.forEach(([at, text], k) => {
      tick(at, -this.low, at, -this.low - 0.8 * size);
      const close = names.length === 2 && last - first < 14 * size;
      word(text, at, -this.low + 1.2 * size, !close ? "middle" : k === 0 ? "end" : "start");
    });
    let note = "distance along the way: " + this.figures.short(p.length) + " " + this.figures.name;
    if (last - first < p.length - 1e-6) {
      note += "; shown are " + this.figures.short(last - first) + " " + this.figures.name + " round the tightest place";
    }
    word(note, (this.left + this.right) / 2, -this.low + 2.6 * size, "middle");
    return found;
  }

  names() {
    const p = this.p, board = new Board([this.left, this.low, this.right, this.high], this.size), found = [];
    for (const tip of [p.tightZ, p.round ? null : p.writtenZ]) {
      for (const [from, radius] of tip === null ? [] : p.sections) {
        board.take([p.tight - radius, tip + from, p.tight + radius, this.high + 99]);
      }
    }
    for (const [, z] of this.named()) { board.take([this.left, z - 0.1 * this.size, this.right, z + 0.1 * this.size]); }
    for (const s of p.silhouettes) { board.take([s.begin, this.low, s.end, s.top], true); }
    for (const way of [p.programmed, p.written, ...p.floor]) {
      way.slice(1).forEach((end, k) => board.takeLine(way[k], end, 0.3 * this.size));
    }
    const order = (a, b) => this.crossed(a) - this.crossed(b) || a.top - b.top;
    for (const solid of this.shown().sort(order).slice(-8)) {
      const target = [Math.max(solid.begin, this.left), Math.max(solid.bottom, this.low),
        Math.min(solid.end, this.right), solid.top];
      const label = board.place(this.name(solid, 26), target) || board.place(this.name(solid, 12), target);
      if (!label) { continue; }
      if (label.leader) {
        const [[x1, y1], [x2, y2]] = label.leader;
        found.push(draw("line", { class: "leader", x1: x1, y1: -y1, x2: x2, y2: -y2 }));
      }
      found.push(draw("text", { x: label.x, y: -label.y, class: "name" }, label.text));
    }
    return found;
  }

  name(solid, longest) {
    const name = solid.name.length <= longest ? solid.name : solid.name.slice(0, longest - 1) + "…";
    const beside = this.crossed(solid) ? "" : " (" + this.figures.short(solid.beside) + " beside)";
    return name + ", top " + this.figures.short(solid.top) + beside;
  }

  levelNames() {
    const rows = this.named(), size = this.size, found = [];
    const places = spread(rows.map(row => row[1]), 1.5 * size, this.low, this.high);
    rows.forEach(([name, z], k) => {
      found.push(draw("path", { class: "level " + name, d: pathText([[this.right, -z], [this.right + size, -places[k]]]) }));
      found.push(draw("text", { x: this.right + 1.3 * size, y: -places[k] + 0.35 * size, class: "value" },
        name + " Z " + this.figures.length(Math.round(z * 1e6))));
    });
    return found;
  }
}

// Moves numbers apart until neighbours are `gap` from each other, in their order.
function spread(places, gap, low, high) {
  const order = places.map((_, k) => k).sort((a, b) => places[a] - places[b]), moved = order.map(k => places[k]);
  for (let round = 0; round < 50; round++) {
    for (let k = 1; k < moved.length; k++) {
      const lack = gap - (moved[k] - moved[k - 1]);
      if (lack > 1e-9) { moved[k - 1] -= lack / 2; moved[k] += lack / 2; }
    }
  }
  if (moved.length) {
    const shift = Math.max(0, low - moved[0]) - Math.max(0, moved[moved.length - 1] - high);
    moved.forEach((value, k) => { moved[k] = value + shift; });
  }
  const result = [];
  order.forEach((place, k) => { result[place] = moved[k]; });
  return result;
}

// A round step (1, 2 or 5 times a power of ten) that divides a span into about so many parts.
function niceStep(span, about) {
  const raw = Math.max(span, 1e-9) / about, power = Math.pow(10, Math.floor(Math.log10(raw)));
  return [1, 2, 5, 10].map(factor => power * factor).find(step => step >= raw - 1e-12);
}
