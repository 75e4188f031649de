// The library of prints and the chances of taps, as inspections/contact/library.py, press.py and taps.py make them, to the
// bit: the same counter hash, the same press. A test holds the two together; change both. What every step means stands
// in those modules.

// --- library and press: inspections/contact/library.py and press.py ---
const ROWS = 20, COLUMNS = 28, POINTS = ROWS * COLUMNS, FAR = 1e6, LEVEL = [0.35, 130], RELIEVED = 0.88, BY_DARKNESS = 0.2;
const FAMILIES = ["straight", "tilt", "skew", "side", "hollow", "proud", "spot", "spots", "pinch"];
const SIZES = {
  bored: [1500, 1200, 1200, 1200, 1000, 1000, 3000, 3000, 3000],
  worn: [1500, 900, 700, 700, 700, 700, 1800, 1800, 1800],
};
const radians = (degrees) => degrees * (Math.PI / 180);
const between = (u, low, high) => low + (high - low) * u;
const logBetween = (u, low, high) => low * Math.exp(Math.log(high / low) * u);
const around = (u, half) => half * (2 * u - 1);
const triangle = (u, v, half) => half * (u + v - 1);

function uniform(family, n, k) {
  let i = (n * 64 + k + family * 4194304 + 1) >>> 0;
  i = Math.imul(i, 0x9e3779b1) >>> 0;
  i = Math.imul((i ^ (i >>> 16)) >>> 0, 0x85ebca6b) >>> 0;
  i = Math.imul((i ^ (i >>> 13)) >>> 0, 0xc2b2ae35) >>> 0;
  i = (i ^ (i >>> 16)) >>> 0;
  return (i + 0.5) / 4294967296;
}

function pressing(family, u, worn) {
  const scale = logBetween(u(0), ...LEVEL), direction = 2 * Math.PI * u(10);
  const p = {
    scale, radius: scale, tilt: triangle(u(1), u(2), 0.8), skew: around(u(3), 0.15) * scale,
    setDown: scale * Math.sin(radians(around(u(4), 12))), friction: u(5) < 0.5 ? Infinity : 0.25 * u(6),
    oval: around(u(7), 0.15) * scale, crown: around(u(8), 0.5), wave: 0.22 * u(9), waveAlong: Math.cos(direction),
    waveAround: Math.sin(direction), wavePhase: 2 * Math.PI * u(11), filmSlope: triangle(u(12), u(13), 0.2),
    relief: u(14) < 0.3 ? radians(between(u(15), 50, 78)) : Infinity, bumps: [], pinch: 0, pinchUnlike: 0, pinchAlong: 0,
    worn: 0, wornAt: 0, wornTilt: 0, wornSkew: 0, wornFit: 0, isWorn: worn,
  };
  if (worn) runIn(p, u);
  if (family === "pinch") pinched(p, u, worn);
  else fault(p, family, u);
  if (worn) offTheArc(p, family, u);
  return p;
}

function runIn(p, u) {
  const share = logBetween(u(48), 0.04, 2.6);
  p.radius = 2 * p.scale / (2 + share);
  p.wornAt = radians(around(u(49), 20));
  p.skew = around(u(3), 0.5);
  p.setDown = p.radius * (1 + share) * Math.sin(p.wornAt) + around(u(4), 0.5);
  p.oval = around(u(7), 0.15) * p.radius;
  p.worn = share * p.radius;
  p.wornTilt = triangle(u(50), u(51), 0.8) * share * p.radius;
  p.wornSkew = around(u(52), 0.15) * share * p.radius;
  p.wornFit = between(u(53), -0.6, 1);
}

function fault(p, family, u) {
  if (family === "tilt") p.tilt = logBetween(u(18), 1.2, 14);
  else if (family === "skew") p.skew = 2 * p.scale * Math.sin(radians(between(u(18), 18, 50)));
  else if (family === "side") {
    p.setDown = p.scale * Math.sin(radians(between(u(18), 22, 75)));
    p.friction = Infinity;
  } else if (family === "hollow") p.crown = logBetween(u(18), 1.2, 10);
  else if (family === "proud") p.crown = -logBetween(u(18), 1.2, 10);
  else if (family === "spot" || family === "spots") {
    for (let k = 0; k < (family === "spot" ? 1 : 3); k += 1) {
      const v = (j) => u(20 + 5 * k + j);
      if (k === 2 && u(18) < 0.65) break;
      p.bumps.push([logBetween(v(0), 1.5, 8), around(v(1), 0.92), radians(around(v(2), 42)), between(v(3), 0.08, 0.4), radians(between(v(4), 7, 26))]);
    }
  }
}

function pinched(p, u, worn) {
  const under = u(43) < 1 / 3 && !worn, radius = p.radius;
  p.radius = under ? -radius * logBetween(u(44), 0.03, 0.5) : radius;
  p.pinch = under ? 0 : radius * between(u(40), 0.62, 0.99);
  p.pinchUnlike = around(u(41), 0.12);
  p.pinchAlong = around(u(42), 0.2);
  if (under) p.relief = radians(between(u(15), 50, 78));
}

function offTheArc(p, family, u) {
  if (family === "skew") {
    const most = Math.max(2 * p.scale * Math.sin(radians(50)), 3);
    p.skew = 2 * Math.exp(Math.log(most / 2) * u(18));
  } else if (family === "side") {
    const most = Math.max(p.scale * Math.sin(radians(75)), 2);
    p.setDown = (p.radius + p.worn) * Math.sin(p.wornAt) + Math.exp(Math.log(most) * u(18));
  }
}

const XS = Float64Array.from({ length: COLUMNS }, (_, k) => 2 * (k + 0.5) / COLUMNS - 1);
const AS = Float64Array.from({ length: ROWS }, (_, k) => Math.PI * ((k + 0.5) / ROWS - 0.5));
const SIN = AS.map(Math.sin), COS = AS.map(Math.cos);

function freeGap(p, gap, least) {
  const deep = p.radius + p.worn, deepLow = deep * Math.cos(p.wornAt), deepAside = deep * Math.sin(p.wornAt);
  const low = p.tilt + p.wornTilt, aside = p.skew + p.wornSkew;
  for (let r = 0; r < ROWS; r += 1) {
    const a = AS[r], sine = SIN[r], cosine = COS[r];
    const bore = p.radius + p.oval * sine * sine, sign = Math.sign(a);
    const fit = p.isWorn ? p.wornFit * Math.sin(a - p.wornAt) ** 2 : 0;
    const drawnIn = p.pinch * sine * sine * (1 + p.pinchUnlike * sign);
    let smallest = Infinity;
    for (let c = 0; c < COLUMNS; c += 1) {
      const x = XS[c];
      let g = bore;
      if (p.isWorn) g = Math.max(g, (deepLow + 0.5 * x * p.wornTilt) * cosine + (deepAside + 0.5 * x * p.wornSkew) * sine + fit);
      g += p.crown >= 0 ? p.crown * (1 - x * x) : -p.crown * x * x;
      g -= drawnIn * (1 + p.pinchAlong * x);
      for (const [height, x0, a0, wx, wa] of p.bumps) g -= height * Math.exp(-(((x - x0) / wx) ** 2 + ((a - a0) / wa) ** 2));
      g += p.wave * Math.sin(Math.PI * (p.waveAlong * x + p.waveAround * a / (Math.PI / 2)) + p.wavePhase);
      g -= 0.5 * x * (low * cosine + aside * sine);
      if (Math.abs(a) > p.relief && Math.abs(x) < RELIEVED) g = FAR;
      gap[r * COLUMNS + c] = g;
      if (g < smallest) smallest = g;
    }
    least[r] = smallest;
  }
}

function fall(least, z) {
  let y = Infinity;
  for (let r = 0; r < ROWS; r += 1) y = Math.min(y, (least[r] - z * SIN[r]) / COS[r]);
  return y;
}

function rest(p, least) {
  if (p.friction === Infinity) return [fall(least, p.setDown), p.setDown];
  let middle = 0, half = 1.2 * p.scale;
  for (let round = 0; round < 3; round += 1) {
    let best = -Infinity, at = middle;
    for (let k = 0; k < 17; k += 1) {
      const z = middle + half * (k / 8 - 1), worth = fall(least, z) - p.friction * Math.abs(z - p.setDown);
      if (worth > best) { best = worth; at = z; }
    }
    middle = at;
    half /= 6;
  }
  return [fall(least, middle), middle];
}

const libraries = {};
function library(part) {
  if (libraries[part]) return libraries[part];
  const worn = part === "worn", sizes = SIZES[part], n = sizes.reduce((a, b) => a + b, 0);
  const made = {
    n, closeness: new Uint8Array(n * POINTS), ranges: {}, level: new Float64Array(n), relief: new Uint8Array(n),
    halfArc: new Float64Array(n), least: new Float64Array(n), heavy: new Float64Array(n), byDarkness: new Uint8Array(n),
  };
  const gap = new Float64Array(POINTS), least = new Float64Array(ROWS);
  let i = 0;
  FAMILIES.forEach((family, f) => {
    made.ranges[family] = [i, i + sizes[f]];
    for (let k = 0; k < sizes[f]; k += 1, i += 1) {
      const u = (draw) => uniform(f + (worn ? FAMILIES.length : 0), k, draw);
      const p = pressing(family, u, worn);
      freeGap(p, gap, least);
      const [y, z] = rest(p, least);
      for (let r = 0; r < ROWS; r += 1) {
        const lowered = y * COS[r] + z * SIN[r];
        for (let c = 0; c < COLUMNS; c += 1) {
          const g = gap[r * COLUMNS + c] - lowered, film = 1 + p.filmSlope * XS[c];
          if (g < film) made.closeness[i * POINTS + r * COLUMNS + c] = 1 + Math.floor(254 * Math.min(Math.max(1 - g / film, 0), 1));
        }
      }
      made.level[i] = Math.log(p.scale);
      made.relief[i] = p.relief === Infinity ? 0 : 1;
      if (worn) made.halfArc[i] = Math.acos(Math.min(Math.max(p.radius / (p.radius + p.worn), -1), 1)) * (180 / Math.PI);
      made.least[i] = logBetween(u(16), 0.02, 0.09);
      made.heavy[i] = between(u(17), 0.36, 0.64);
      made.byDarkness[i] = u(60) < BY_DARKNESS ? 1 : 0;
    }
  });
  libraries[part] = made;
  return made;
}

// --- taps: inspections/contact/taps.py ---
const NEXT_DOOR = 0.08, STRAY = 0.05, STRAY_TAPS = [0.72, 0.23, 0.05], STEPS = 1024;
const UNEVEN = [[0.3, 0.08], [0.5, 0.08], [0.5, 0.2], [0.65, 0.12]], DABBED = [0, 0.5, 0.5];

function overlaps(cells, pieces) {
  const rows = [];
  for (let i = 0; i < cells; i += 1) {
    const row = [];
    for (let j = 0; j < pieces; j += 1) {
      const common = Math.min(i / cells + 1 / cells, j / pieces + 1 / pieces) - Math.max(i / cells, j / pieces);
      if (common > 0) row.push([j, common * cells]);
    }
    rows.push(row);
  }
  return rows;
}

// The share of each cell that prints, and how dark what prints of it is.
function shares(made, i, across, along, out, dark) {
  const columns = along.length;
  for (let r = 0; r < across.length; r += 1) {
    for (let c = 0; c < columns; c += 1) {
      let share = 0, total = 0;
      for (const [pr, wr] of across[r]) {
        let line = 0, depth = 0;
        for (const [pc, wc] of along[c]) {
          const close = made.closeness[i * POINTS + pr * COLUMNS + pc];
          if (close > 0) { line += wc; depth += wc * (close / 255); }
        }
        share += wr * line;
        total += wr * depth;
      }
      out[r * columns + c] = share;
      if (dark) dark[r * columns + c] = share > 1e-9 ? total / share : 0;
    }
  }
}

function neighbours(rows, columns) {
  const near = [];
  for (let r = 0; r < rows; r += 1) {
    for (let c = 0; c < columns; c += 1) {
      const list = [];
      if (r > 0) list.push((r - 1) * columns + c);
      if (r < rows - 1) list.push((r + 1) * columns + c);
      if (c > 0) list.push(r * columns + c - 1);
      if (c < columns - 1) list.push(r * columns + c + 1);
      near.push(list);
    }
  }
  return near;
}

function writeLogs(logs, n, i, cells, chance, near) {
  for (let cell = 0; cell < cells; cell += 1) {
    for (let tap = 0; tap < 3; tap += 1) {
      let beside = 0;
      for (const other of near[cell]) beside += chance[tap * cells + other];
      const slipped = (1 - NEXT_DOOR) * chance[tap * cells + cell] + NEXT_DOOR * (beside / near[cell].length);
      logs[(cell * 3 + tap) * n + i] = Math.floor(Math.log((1 - STRAY) * slipped + STRAY * STRAY_TAPS[tap]) * STEPS + 0.5);
    }
  }
}

const tables = new Map();
function table(part, rows, columns) {
  const key = `${part} ${rows} ${columns}`;
  if (tables.has(key)) return tables.get(key);
  if (tables.size >= 4) tables.delete(tables.keys().next().value);
  const prints = library(part), cells = rows * columns, [from, to] = prints.ranges.straight, straight = to - from;
  const n = prints.n + UNEVEN.length * straight, logs = new Int16Array(cells * 3 * n);
  const across = overlaps(rows, ROWS), along = overlaps(columns, COLUMNS), near = neighbours(rows, columns);
  const share = new Float64Array(cells), dark = new Float64Array(cells), chance = new Float64Array(3 * cells), patchy = new Float64Array(3 * cells);
  for (let i = 0; i < prints.n; i += 1) {
    shares(prints, i, across, along, share, dark);
    for (let cell = 0; cell < cells; cell += 1) {
      const s = share[cell], marked = Math.min(1.05 * s / (s + prints.least[i]), 0.995);
      const measure = prints.byDarkness[i] ? dark[cell] : s;
      const twice = Math.min(0.94 / (1 + Math.exp(-(measure - prints.heavy[i]) / 0.05)), marked);
      chance[cell] = 1 - marked;
      chance[cells + cell] = marked - twice;
      chance[2 * cells + cell] = twice;
    }
    writeLogs(logs, n, i, cells, chance, near);
    if (i < from || i >= to) continue;
    UNEVEN.forEach(([missing, dabbed], kind) => {
      for (let k = 0; k < 3 * cells; k += 1) {
        const kept = (1 - missing) * chance[k] + (k < cells ? missing : 0);
        patchy[k] = (1 - dabbed) * kept + dabbed * DABBED[Math.floor(k / cells)];
      }
      writeLogs(logs, n, prints.n + kind * straight + i - from, cells, patchy, near);
    });
  }
  const ranges = { ...prints.ranges };
  UNEVEN.forEach((_, kind) => { ranges[`uneven${kind}`] = [prints.n + kind * straight, prints.n + (kind + 1) * straight]; });
  const made = { logs, n, ranges };
  tables.set(key, made);
  return made;
}

export { uniform, library, table, overlaps, shares, LEVEL, ROWS, COLUMNS, STEPS };
