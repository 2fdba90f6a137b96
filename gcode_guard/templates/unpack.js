// Unpacks chunks of items (record/page_pack.py says how they are written).
async function inflated(id) {
  const bytes = Uint8Array.from(atob(document.getElementById(id).textContent), c => c.charCodeAt(0));
  const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate"));
  return JSON.parse(await new Response(stream).text());
}

function sums(differences) {
  let last = 0;
  return differences.map(difference => difference === null ? null : (last += difference));
}

function fromTable([rows, numbers]) { return numbers.map(number => rows[number]); }

// Texts out of templates and numbers (record/page_texts.py).
function texts([templates, rows, columns]) {
  const cursors = {};
  for (const key of Object.keys(columns)) { cursors[key] = { values: sums(columns[key]), next: 0 }; }
  const shapes = templates.map((template, row) => {
    const pieces = [];
    let literal = "", slot = 0;
    for (let k = 0; k < template.length; k++) {
      const code = template.charCodeAt(k);
      if (code < 1 || code > 7) { literal += template[k]; continue; }
      const decimals = code - 1, scale = decimals <= 3 ? 3 : 6;
      const letter = k && /[A-Za-z]/.test(template[k - 1]) ? template[k - 1] : row + ":" + slot + ":";
      pieces.push(literal, { key: letter + scale, decimals: decimals, over: Math.pow(10, scale - decimals) });
      literal = "";
      slot++;
    }
    return [...pieces, literal];
  });
  return rows.map(row => shapes[row].map(piece => {
    if (typeof piece === "string") { return piece; }
    const cursor = cursors[piece.key];
    return pointed(cursor.values[cursor.next++] / piece.over, piece.decimals);
  }).join(""));
}

function pointed(number, decimals) {
  const digits = String(Math.abs(number)).padStart(decimals + 1, "0"), cut = digits.length - decimals;
  return (number < 0 ? "-" : "") + (decimals ? digits.slice(0, cut) + "." + digits.slice(cut) : digits);
}

// A chunk as a list of items, and the lines of the program round them by number.
function itemsOf(told, near, firstNumber) {
  const columns = {};
  ["line", "programmed", "needed", "written", "from", "by", "added", "along", "tightx", "tighty", "tightz", "lowest",
    "clear", "over", "beside", "startx", "starty", "startz", "endx", "endy", "endz"].forEach(name => {
    columns[name] = sums(told[name]);
  });
  const kinds = fromTable(told.kind), names = fromTable(told.names), marks = fromTable(told.marks);
  const parts = fromTable(told.part), flags = fromTable(told.flags), words = fromTable(told.ways);
  const sentences = texts(told.sentence), advice = texts(told.advice), own = texts(told.own);
  const explicit = [sums(told.wayx), sums(told.wayy), sums(told.wayz)], used = [0, 0, 0];
  const millimetres = (name, k) => columns[name][k] === null ? null : columns[name][k] / 1e3;
  const lines = linesOf(near);
  let row = 0;
  const items = kinds.map(([state, kind, title], k) => {
    const hunk = [...marks[k]].map(mark => [mark, own[row++]]);
    const item = {
      number: firstNumber + k, line: columns.line[k], state: state, kind: kind, title: title, obstacles: names[k],
      sentence: sentences[k], advice: advice[k], own: hunk, cause: told.cause[k], sight: null,
      cuts: (told.cuts[k] || []).map(line => line.map(point => point.map(c => c / 1e3))),
      mark: told.mark[k] ? told.mark[k].map(c => c / 1e3) : null
    };
    ["programmed", "needed", "written", "from", "by", "added", "clear", "over", "beside"].forEach(name => {
      item[name] = columns[name][k];
    });
    if (item.cause !== null) { item.cause += item.line; }
    if (parts[k]) {
      const [rapid, round, arc, corner, grow] = flags[k];
      item.sight = {
        start: ["startx", "starty", "startz"].map(name => millimetres(name, k)),
        end: ["endx", "endy", "endz"].map(name => millimetres(name, k)),
        tool: parts[k][0], part: parts[k][1], rapid: rapid, round: round, arc: arc, corner: corner, grow: grow,
        tightZ: millimetres("tightz", k), lowest: millimetres("lowest", k),
        tight: columns.tightx[k] !== null ? [millimetres("tightx", k), millimetres("tighty", k)] : null
      };
      if (columns.along[k] !== null) { item.sight.tight = onWay(item.sight, columns.along[k] / 1e3); }
    }
    const [programmed, mended] = words[k].split("/").map(group => group ? group.split("|") : []);
    item.ways = programmed.map(word => wayOf(word, item, explicit, used));
    item.mended = mended.map(word => wayOf(word, item, explicit, used));
    lines.set(item.line, hunk);
    return item;
  });
  return { items: items, lines: lines, near: near !== null };
}

function linesOf(near) {
  const lines = new Map();
  if (near === null) { return lines; }
  const numbers = sums(near.line), marks = fromTable(near.marks), all = texts(near.texts);
  let row = 0;
  numbers.forEach((number, k) => { lines.set(number, [...marks[k]].map(mark => [mark, all[row++]])); });
  return lines;
}

function onWay(sight, along) {
  const [x0, y0] = sight.start, [x1, y1] = sight.end, long = Math.hypot(x1 - x0, y1 - y0);
  return long > 0 ? [x0 + (x1 - x0) * along / long, y0 + (y1 - y0) * along / long] : [x0, y0];
}

function wayOf(word, item, explicit, used) {
  const way = [];
  for (let k = 0; k < word.length; k += 3) {
    way.push([0, 1, 2].map(axis => {
      switch (word[k + axis]) {
        case "p": return way[way.length - 1][axis];
        case "s": return item.sight.start[axis];
        case "e": return item.sight.end[axis];
        case "w": return Math.round(item.written / 1e3) / 1e3;
        case "x": return explicit[axis][used[axis]++] / 1e3;
        default: return null;
      }
    }));
  }
  return way;
}
