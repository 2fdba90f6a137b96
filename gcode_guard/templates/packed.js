// The page of very many changes: a list of some rows at a time, and the chosen one, drawn when they are asked for.
const ROWS = 100;  // in the list at once
const KEPT = 8;    // chunks that stay unpacked

function html(name, attributes, ...content) {
  const node = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) { node.setAttribute(key, value); }
  node.append(...content);
  return node;
}

const grouped = number => String(number).replace(/\B(?=(\d{3})+$)/g, ",");

// Numbers as record/page_words.py writes them.
function nearest(number, per) {
  const whole = Math.floor(number / per), rest = number - whole * per;
  return whole + (2 * rest > per || 2 * rest === per && whole % 2 === 1 ? 1 : 0);
}

function figure(number, per, places) {
  const whole = nearest(Math.abs(number), per), digits = String(whole).padStart(places + 1, "0");
  return (number < 0 && whole ? "−" : "") + digits.slice(0, -places) + "." + digits.slice(-places);
}

function figuresIn(units, facts) {
  const inch = units === "inch", stripped = text => text.replace(/0+$/, "").replace(/\.$/, "");
  const name = inch ? "in" : "mm";
  return {
    unit: inch ? 25.4 : 1, name: name,
    length: millionths => millionths === null ? facts["not-known"] :
      stripped(inch ? figure(millionths, 254, 5) : figure(millionths, 1, 6)) + " " + name,
    short: value => stripped(inch ? figure(Math.round(value * 1e6), 25400, 3) : figure(Math.round(value * 1e6), 1e4, 2)),
    time: ms => {
      if (ms === null) { return facts["not-estimated"]; }
      if (ms < 9950) { return figure(ms, 100, 1) + " s"; }
      const whole = nearest(ms, 1000);
      return whole < 60 ? whole + " s" : Math.floor(whole / 60) + " min " + whole % 60 + " s";
    }
  };
}

// The chunks that are there, and the items in them by their place in the whole list.
class Store {
  constructor(chunks) {
    this.chunks = chunks.map(([number, line, count, near, shelf], id) => ({ number, line, count, near, shelf, id }));
    let place = 0;
    for (const chunk of this.chunks) { chunk.place = place; place += chunk.count; }
    this.count = place;
    this.unpacked = new Map();
  }

  async chunk(chunk) {
    if (!this.unpacked.has(chunk.id)) {
      if (this.unpacked.size >= KEPT) { this.unpacked.delete(this.unpacked.keys().next().value); }
      const id = "packed-" + chunk.id;
      this.unpacked.set(chunk.id, Promise.all([inflated(id), chunk.near ? inflated(id + "-near") : null])
        .then(([told, near]) => itemsOf(told, near, chunk.number)));
    }
    return this.unpacked.get(chunk.id);
  }

  at(place) { return this.chunks.find(chunk => place < chunk.place + chunk.count); }

  async items(from, to) {
    const found = [];
    for (const chunk of this.chunks.filter(chunk => chunk.place < to && chunk.place + chunk.count > from)) {
      const { items } = await this.chunk(chunk);
      found.push(...items.slice(Math.max(0, from - chunk.place), to - chunk.place));
    }
    return found;
  }

  placeOf(number) {
    const chunk = this.chunks.find(chunk => chunk.number <= number && number < chunk.number + chunk.count);
    return chunk ? chunk.place + number - chunk.number : null;
  }

  // The item whose line is nearest to one; of two the one that comes first in the list.
  async placeOfLine(line) {
    let best = null;
    for (const shelf of new Set(this.chunks.map(chunk => chunk.shelf))) {
      const mine = this.chunks.filter(chunk => chunk.shelf === shelf);
      const last = Math.max(0, mine.filter(chunk => chunk.line <= line).length - 1);
      for (const chunk of mine.slice(last, last + 2)) {
        (await this.chunk(chunk)).items.forEach((item, k) => {
          const away = Math.abs(item.line - line);
          if (best === null || away < best.away) { best = { away: away, place: chunk.place + k }; }
        });
      }
    }
    return best.place;
  }

  // The lines of the program round an item, each with its mark; null stands for lines that are not on the page.
  async hunk(place, item) {
    const { lines, near } = await this.chunk(this.at(place)), rows = [];
    for (let number = item.line - 2; number <= item.line + 2; number++) {
      const own = number === item.line;
      for (const [mark, text] of (own ? item.own : near && lines.get(number)) || []) {
        rows.push({ mark: mark, number: mark === "+" ? null : number, text: text, own: own });
      }
    }
    return { rows: rows, bare: !near };
  }
}

// What an item looks like ---------------------------------------------------------------------------------------

function factsOf(item, bench, figures) {
  const names = bench.facts, sight = item.sight, rows = [];
  const add = (key, value, name, raw) => rows.push([name || names[key], value, raw]);
  if (item.state !== "change") {
    if (item.by !== null) {
      add("by", figures.length(item.by), item.kind === "out-of-reach" ? names.outside : null, ["by_mm", item.by / 1e6]);
    }
    return rows;
  }
  const raw = (key, value, per) => [key, value === null ? "" : value / per];
  add("programmed", figures.length(item.programmed), null, raw("programmed_z_mm", item.programmed, 1e6));
  add("needed", item.needed === null ? names.nothing : figures.length(item.needed), null,
    raw("needed_z_mm", item.needed, 1e6));
  if (item.cause !== null && sight && item.clear !== null) {
    add("clear", figures.length(item.clear), names.clear.replace("{}", item.cause));
  }
  add("written", figures.length(item.written), null, raw("written_z_mm", item.written, 1e6));
  if (item.over !== null) { add("over", figures.length(item.over)); }
  if (item.beside !== null) { add("beside", figures.length(item.beside)); }
  add("added", figures.time(item.added), null, raw("added_s", item.added, 1e3));
  return rows;
}

function hunkOf({ rows, bare }, item) {
  const names = { "-": "out", "+": "in", " ": "same" }, code = html("code", {});
  for (const row of rows) {
    code.append(html("span", { class: names[row.mark] + (row.own ? " own" : "") },
      html("span", { class: "lineno" }, (row.number === null ? "" : String(row.number)).padStart(6)),
      " " + row.mark + " " + row.text + "\n"));
  }
  const found = [html("pre", { class: "hunk", tabindex: "0", "aria-label": "Blocks round line " + item.line }, code)];
  if (bare) { found.push(html("p", { class: "note" }, "The lines round it are left out, to keep the page small.")); }
  return found;
}

function shapesOf(item, bench, letters) {
  const shapes = [], sight = item.sight, flat = way => way.filter(p => p[0] !== null && p[1] !== null).map(p => [p[0], p[1]]);
  const radius = sight && (bench.tools[sight.tool].find(section => section[2] === sight.part) || [])[1];
  if (radius !== undefined && sight && !sight.arc && ![...sight.start.slice(0, 2), ...sight.end.slice(0, 2)].includes(null)) {
    shapes.push(...corridors(sight, radius, bench.box && sight.rapid));
  }
  const ways = [["programmed", item.ways.map(flat)], ["mended", item.mended.map(flat)],
    [item.kind === "cut-contact" ? "meeting" : "nearing", item.cuts]];
  for (const [name, lines] of ways) {
    const data = lines.filter(line => line.length > 1).map(pathText).join("");
    if (data) { shapes.push(draw("path", { class: name, d: data })); }
  }
  const mark = item.mark || sight && middleOf(sight) && (sight.tight || middleOf(sight));
  if (mark) {
    const half = Math.round(450 * letters) / 1e3, wide = Math.round(900 * letters) / 1e3;
    shapes.push(draw("path", { class: "tightest", d: "M" + mark.join(" ") + "m-" + half + " -" + half + "l" + wide + " " + wide +
      "m0 -" + wide + "l-" + wide + " " + wide }));
  }
  return shapes;
}

function middleOf({ start, end }) {
  return [start[0], start[1], end[0], end[1]].includes(null) ? null : [(start[0] + end[0]) / 2, (start[1] + end[1]) / 2];
}

function corridors({ start: [x0, y0], end: [x1, y1] }, r, boxed) {
  const long = Math.hypot(x1 - x0, y1 - y0), [ux, uy] = long > 0 ? [(x1 - x0) / long, (y1 - y0) / long] : [1, 0];
  const at = (x, y) => Math.round(x * 1e3) / 1e3 + " " + Math.round(y * 1e3) / 1e3, nx = -uy * r, ny = ux * r;
  const turn = "A" + r + " " + r + " 0 0 1 ";
  const straight = draw("path", { class: "corridor", d: "M" + at(x0 + nx, y0 + ny) + turn + at(x0 - nx, y0 - ny) +
    "L" + at(x1 - nx, y1 - ny) + turn + at(x1 + nx, y1 + ny) + "Z" });
  return boxed && long > 0 ? [draw("rect", { class: "corridor anywhere", x: Math.min(x0, x1) - r, y: Math.min(y0, y1) - r,
    width: Math.abs(x1 - x0) + 2 * r, height: Math.abs(y1 - y0) + 2 * r, rx: r }), straight] : [straight];
}

// The page -----------------------------------------------------------------------------------------------------

class Pages {
  constructor(bench, plan) {
    this.bench = bench;
    this.plan = plan;
    this.store = new Store(bench.chunks);
    this.figures = figuresIn(bench.units, bench.facts);
    this.node = name => document.getElementById(name);
    this.view = planView(plan, () => this.picked);
    this.picked = null;
    this.place = 0;      // of the chosen one
    this.first = null;   // of the first row that is listed
    this.asked = 0;      // choices so far: what was asked for before the last one is not drawn any more
    this.back = null;
  }

  async start() {
    this.listen();
    const asked = /^#item-(\d+)$/.exec(location.hash), place = asked ? this.store.placeOf(Number(asked[1])) : null;
    await this.choose(place === null ? 0 : place);
    document.documentElement.classList.add("packed", "scripted");
    document.querySelectorAll("[data-packed]").forEach(node => { node.hidden = false; });
  }

  listen() {
    const list = this.node("rows");
    list.addEventListener("click", event => {
      const row = event.target.closest("a[data-place]");
      if (!row) { return; }
      event.preventDefault();
      this.back = null;
      this.choose(Number(row.dataset.place)).then(() => event.detail === 0 ? this.show() : this.rowOf(this.place).focus());
    });
    list.addEventListener("keydown", event => this.key(event));
    this.node("earlier").addEventListener("click", () => this.turn(-1));
    this.node("later").addEventListener("click", () => this.turn(1));
    this.node("previous").addEventListener("click", () => this.choose(this.place - 1));
    this.node("next").addEventListener("click", () => this.choose(this.place + 1));
    this.node("goto").addEventListener("submit", event => { event.preventDefault(); this.goTo(); });
    this.plan.addEventListener("click", event => {
      const mark = event.target.closest("a.mark, g.item[data-item]");
      if (!mark) { return; }
      event.preventDefault();
      this.back = mark.matches("a.mark") ? mark : null;
      this.chooseNumber(Number(mark.dataset.item)).then(() => event.detail === 0 && this.show());
    });
    document.querySelectorAll("header a[href^='#item-']").forEach(link => link.addEventListener("click", event => {
      event.preventDefault();
      this.chooseNumber(Number(link.hash.slice(6))).then(() => this.show());
    }));
    document.addEventListener("keydown", event => {
      if (event.key === "Escape" && document.activeElement.closest("#chosen")) {
        (this.back || this.rowOf(this.place)).focus();
      }
    });
  }

  key(event) {
    const last = this.store.count - 1;
    const next = { ArrowDown: this.place + 1, ArrowRight: this.place + 1, ArrowUp: this.place - 1, ArrowLeft: this.place - 1,
      PageDown: this.place + ROWS, PageUp: this.place - ROWS, Home: 0, End: last }[event.key];
    if (next === undefined || event.ctrlKey || event.altKey || event.metaKey) { return; }
    event.preventDefault();
    this.choose(next).then(() => this.rowOf(this.place).focus());
  }

  async turn(pages) {
    const first = Math.min(Math.max(0, this.first + pages * ROWS), Math.floor((this.store.count - 1) / ROWS) * ROWS);
    await this.choose(first);
  }

  async goTo() {
    const line = Number(this.node("goto-line").value);
    if (!Number.isInteger(line) || line < 1) { this.say("Give the number of a line."); return; }
    await this.choose(await this.store.placeOfLine(line));
    const [item] = await this.store.items(this.place, this.place + 1);
    if (item.line !== line) { this.say("Nothing stands at line " + grouped(line) + "; the nearest is line " + grouped(item.line) + "."); }
    this.rowOf(this.place).focus();
  }

  async chooseNumber(number) {
    const place = this.store.placeOf(number);
    if (place !== null) { await this.choose(place); }
  }

  // Chooses an item by its place in the whole list: lists the rows round it, draws it, and marks it everywhere.
  async choose(place) {
    place = Math.min(Math.max(0, place), this.store.count - 1);
    const asked = ++this.asked, first = Math.floor(place / ROWS) * ROWS;
    const items = await this.store.items(first, Math.min(first + ROWS, this.store.count));
    const item = items[place - first], hunk = await this.store.hunk(place, item);
    if (asked !== this.asked) { return; }
    this.place = place;
    if (first !== this.first) { this.list(items, first); }
    this.node("rows").querySelectorAll("a").forEach(row => {
      const on = Number(row.dataset.place) === place;
      row.tabIndex = on ? 0 : -1;
      if (on) { row.setAttribute("aria-current", "true"); row.scrollIntoView({ block: "nearest" }); } else { row.removeAttribute("aria-current"); }
    });
    this.node("previous").disabled = place === 0;
    this.node("next").disabled = place === this.store.count - 1;
    this.pick(item);
    this.detail(item, hunk);
  }

  list(items, first) {
    this.first = first;
    this.node("rows").replaceChildren(...items.map((item, k) => html("li", {}, html("a", {
      id: "place-" + (first + k), href: "#chosen", "data-place": first + k, "data-item": item.number, class: item.state },
      html("span", { class: "number" }, grouped(item.number)),
      html("span", { class: "what" }, html("b", {}, "line " + item.line), " " + item.title +
        (item.obstacles ? ": " + item.obstacles : "")),
      html("span", { class: "heights" }, this.heights(item))))));
    this.node("earlier").disabled = first === 0;
    this.node("later").disabled = first + items.length >= this.store.count;
    this.say(grouped(first + 1) + " to " + grouped(first + items.length) + " of " + grouped(this.store.count));
  }

  heights(item) {
    const short = millionths => this.figures.short(millionths / 1e6);
    if (item.written === null) { return ""; }
    return "Z " + (item.from !== null && item.from !== item.written ? short(item.from) + " → " : "") + short(item.written);
  }

  rowOf(place) { return this.node("place-" + place); }

  say(text) { this.node("listed").textContent = text; }

  pick(item) {
    if (this.picked) { this.picked.remove(); }
    const shapes = shapesOf(item, this.bench, this.view.letters);
    const group = draw("g", { class: "item chosen picked " + item.state },
      draw("title", {}, item.number + ". line " + item.line + ": " + item.title),
      draw("g", { transform: "scale(1 -1)" }, ...shapes));
    this.plan.querySelector("g.items").append(group);
    this.picked = group;
    this.plan.querySelectorAll("a.mark").forEach((node, k) => {
      const on = Number(node.dataset.item) === item.number;
      node.classList.toggle("chosen", on);
      node.setAttribute("tabindex", on || k === 0 ? "0" : "-1");
    });
    this.view.follow();
  }

  detail(item, hunk) {
    const figures = this.figures, rows = factsOf(item, this.bench, figures), article = this.node("chosen");
    article.className = "detail " + item.state;
    article.dataset.line = item.line;
    article.dataset.kind = item.kind;
    const sentence = html("p", {}, item.sentence);
    if (item.advice) { sentence.append(" ", html("strong", {}, "What you can do:"), " " + item.advice + "."); }
    const left = html("div", {}, ...hunkOf(hunk, item));
    if (rows.length) {
      left.append(html("dl", { class: "facts" }, ...rows.map(([name, value, raw]) => html("div", {}, html("dt", {}, name),
        html("dd", raw ? { "data-log": raw[0], "data-value": raw[1] } : {}, value)))));
    }
    const pair = html("div", { class: "pair" }, left);
    if (item.sight) {
      const profile = profileOf(item, this.bench);
      pair.append(html("figure", {}, new Side(profile, figures).drawn("Side view of line " + item.line),
        html("figcaption", {}, profile.notes.join(" "))));
    }
    article.replaceChildren(html("h3", { id: "chosen-title" }, html("span", { class: "number" }, grouped(item.number)),
      " Line " + item.line + ": " + item.title), sentence,
      ...(item.state === "change" && document.querySelector(".verdict.refused") ?
        [html("p", { class: "note" }, "Planned only: no program was written.")] : []), pair);
  }

  show() {
    this.node("chosen").focus({ preventScroll: true });
    this.node("chosen").scrollIntoView({ block: "nearest" });
  }
}

(async function () {
  const plan = document.getElementById("plan");
  try {
    await new Pages(await inflated("packed"), plan).start();
  } catch (error) {
    document.getElementById("unpackable").hidden = false;
    throw error;
  }
})();
