// Reads a contact print as inspections/contact/reader.py does: the same weights, outcome and words from the same table
// (contact_table.json), so that a page without network says what the server says. A test holds the two together over
// thousands of prints; change both. A check has the fields of inspections/contact/check.py.
import * as LIBRARY from "./contact_library.js";

export const contactReader = (TABLE) => {
  const { causes: CAUSES, facts: FACTS, bars: BARS, groups: GROUPS } = TABLE;
  const known = (value) => value !== null && value !== undefined;
  const whole = (value) => Math.floor(value + 0.5);
  const MOST_ROWS = 14, MOST_COLUMNS = 20, LEAST_LIKELY = -700, BLUE = [0, 0.3, 1];
  const FLIPS = [[false, false], [true, false], [false, true], [true, true]];
  const SPOTS = ["first_spot", "spot", "ask_spot"], CROWNS = ["hollow", "proud", "hollow_off", "proud_off", "ask_crown"];
  const PLAIN = {
    half: "", in_place: null, seat: "", bedded_by_hand: null, clearance_um: null, journal_mm: null, film: "", worn_arc_deg: null,
    turned_deg: null, load_side: "bottom", first_end: "out", first_side: "", pump_end: "pump end", outer_end: "outer end",
    clearance_sd_um: null, measured_twice: false, film_um: null, film_sd_um: null, state: "", gained_um: null, gained_sd_um: null, scrapeable: "",
    groove: null, relief_deg: null, holes: [], diameters_um: null, tolerance_um: null,
  };
  const SHIPPED = {
    min_coverage: 0.75, min_arc_deg: 45, max_arc_deg: 120, max_turn_deg: 30, author: "shipped default",
    film_um: { thin: [3, 7], normal: [7, 15], heavy: [15, 40] },
  };

  // --- grids: flat, row after row ---
  const grid = (rows, columns, cells) => ({ rows, columns, cells });
  function flipped(g, [sides, ends]) {
    const out = new g.cells.constructor(g.cells.length);
    for (let r = 0; r < g.rows; r += 1) {
      for (let c = 0; c < g.columns; c += 1) {
        out[r * g.columns + c] = g.cells[(sides ? g.rows - 1 - r : r) * g.columns + (ends ? g.columns - 1 - c : c)];
      }
    }
    return grid(g.rows, g.columns, out);
  }
  const angleOf = (row, rows) => 180 * ((row + 0.5) / rows - 0.5);

  // --- what is known: check.py, journal.py, causes.py ---
  function filmRange(check, criteria) {
    if (known(check.film_um)) {
      const spread = 1.7 * (known(check.film_sd_um) ? check.film_sd_um : 0.25 * check.film_um);
      return [Math.max(check.film_um - spread, 0.2 * check.film_um), check.film_um + spread];
    }
    return check.film ? criteria.film_um[check.film] : [4, 25];
  }

  function journalOf(check, criteria) {
    const [thin, thick] = filmRange(check, criteria), tolerance = check.tolerance_um || 0.25 * (thin + thick);
    if (!known(check.diameters_um)) return { taper: null, barrel: null, straight: null, tapered: null, crowned: null };
    const [near, middle, far] = check.diameters_um.map(([a, b]) => (a + b) / 2);
    const oval = Math.max(...check.diameters_um.map(([a, b]) => Math.abs(a - b)));
    const taper = far - near, barrel = middle - 0.5 * (near + far);
    return {
      taper, barrel, straight: Math.max(Math.abs(taper), Math.abs(barrel), oval) <= tolerance,
      tapered: Math.abs(taper) > tolerance, crowned: Math.abs(barrel) > tolerance,
    };
  }

  function grooved(columns, start, stop) {
    return Array.from({ length: columns }, (_, k) => {
      const covered = Math.max(Math.min(k / columns + 1 / columns, stop) - Math.max(k / columns, start), 0) * columns;
      return covered >= 0.3 - 5e-10;
    });
  }

  const rightFirst = (check) => Boolean(check.first_side) && (check.first_side === "right") !== (check.first_end === "out");

  function silent(check, rows, columns) {
    const mask = new Uint8Array(rows * columns);
    const ring = check.groove && check.groove.length ? grooved(columns, ...check.groove) : null;
    for (let r = 0; r < rows; r += 1) {
      for (let c = 0; c < columns; c += 1) {
        if (ring && ring[c]) mask[r * columns + c] = 1;
        const within = Math.abs(2 * ((c + 0.5) / columns) - 1) < 0.9;
        if (known(check.relief_deg) && within && Math.abs(angleOf(r, rows)) > check.relief_deg) mask[r * columns + c] = 1;
      }
    }
    for (const [along, angle, width] of check.holes) {
      const row = Math.min(Math.trunc(((rightFirst(check) ? -angle : angle) / 180 + 0.5) * rows), rows - 1);
      for (let c = 0; c < columns; c += 1) {
        if ((c + 1) / columns > along - 0.5 * width && c / columns < along + 0.5 * width) mask[row * columns + c] = 1;
      }
    }
    return grid(rows, columns, mask);
  }

  const held = (scale) => Math.log(Math.min(Math.max(scale, LIBRARY.LEVEL[0]), LIBRARY.LEVEL[1]));
  function levelOf(check, criteria) {
    const [thin, thick] = filmRange(check, criteria);
    let clearance = FACTS.clearance_um, share = FACTS.share_unknown;
    if (known(check.clearance_um)) {
      clearance = check.clearance_um;
      share = (known(check.clearance_sd_um) ? check.clearance_sd_um : FACTS.clearance_sd_um) / clearance;
    } else if (known(check.journal_mm)) {
      clearance = FACTS.clearance_of_journal * 1000 * check.journal_mm;
      share = FACTS.share_of_journal;
    }
    const low = held(0.5 * clearance / thick), high = held(0.5 * clearance / thin), sd = Math.hypot(share, FACTS.level_sd);
    return { low, high, sd, middle: 0.5 * (low + high), wide: Math.hypot(sd, (high - low) / Math.sqrt(12)) };
  }

  function prior(cause, check) {
    const factors = FACTS.state_priors[check.state || "not_said"] || {};
    let share = cause.prior * (known(factors[cause.name]) ? factors[cause.name] : 1);
    if ((cause.name === "tight" || cause.name === "large") && check.measured_twice) share *= FACTS.measured_twice;
    if (cause.name === "large" && known(check.clearance_um) && known(check.journal_mm)) {
      share *= Math.min(1, (FACTS.large_of_journal * 1000 * check.journal_mm / check.clearance_um) ** 1.5);
    }
    return share;
  }

  function halfArc(clearance, gained) {
    const depth = Math.min(Math.max(gained, 0), 0.9 * clearance), radius = 0.5 * (clearance - depth);
    return Math.acos(radius / (radius + depth)) * (180 / Math.PI);
  }

  function expectedHalfArc(check) {
    if (known(check.worn_arc_deg) && !check.bedded_by_hand) return [0.5 * check.worn_arc_deg, FACTS.seen_arc_sd_deg];
    if (!known(check.gained_um) || !known(check.clearance_um)) return null;
    const sd = known(check.gained_sd_um) ? check.gained_sd_um : FACTS.gained_sd_um;
    const [low, middle, high] = [-1, 0, 1].map((k) => halfArc(check.clearance_um, check.gained_um + k * sd));
    return [middle, Math.hypot(0.5 * (high - low), FACTS.least_arc_sd_deg)];
  }

  const up = (z) => 1 / (1 + Math.exp(-1.702 * z));
  function weights(cause, part, check, level) {
    const made = LIBRARY.library(part), [from, to] = made.ranges[cause.prints], out = new Float64Array(to - from);
    const arc = part === "worn" ? expectedHalfArc(check) : null;
    const windows = cause.windows.map((w) => ({
      share: w.share, low: level[w.from[0]] + w.from[1], high: level[w.to[0]] + w.to[1], edge: w.edge === "wide" ? level.wide : level.sd,
    }));
    for (let i = from; i < to; i += 1) {
      let weight = 0;
      for (const w of windows) weight += w.share * (up((made.level[i] - w.low) / w.edge) * up((w.high - made.level[i]) / w.edge));
      if (!known(check.relief_deg)) weight *= made.relief[i] ? FACTS.relief_not_said : 1;
      else if (Boolean(made.relief[i]) !== check.relief_deg < 90) weight = 0;
      if (arc) weight *= Math.exp(-0.5 * ((made.halfArc[i] - arc[0]) / arc[1]) ** 2) + FACTS.wear_otherwise;
      out[i - from] = weight;
    }
    return out;
  }

  // --- evidence.py ---
  function canonical(pattern, mask) {
    const order = (flip) => [...flipped(pattern, flip).cells, ...flipped(mask, flip).cells];
    let best = FLIPS[0], key = order(best);
    for (const flip of FLIPS.slice(1)) {
      const other = order(flip), at = other.findIndex((v, k) => v !== key[k]);
      if (at >= 0 && other[at] < key[at]) { best = flip; key = other; }
    }
    return best;
  }

  function sums(cells, hidden, part) {
    const made = LIBRARY.table(part, cells.rows, cells.columns);
    return FLIPS.map((flip) => {
      const seen = flipped(cells, flip).cells, mask = flipped(hidden, flip).cells, out = new Int32Array(made.n);
      for (let cell = 0; cell < seen.length; cell += 1) {
        if (mask[cell]) continue;
        const start = (cell * 3 + seen[cell]) * made.n, logs = made.logs;
        for (let i = 0; i < made.n; i += 1) out[i] += logs[start + i];
      }
      return out;
    });
  }

  function scale(live) { return FACTS.beta * Math.min(1, Math.sqrt(FACTS.beta_cells / Math.max(live, 1))) / LIBRARY.STEPS; }

  function casesOf(cells, mask, check) {
    const cases = [], shares = FACTS.states[check.state || "not_said"];
    for (const part of ["bored", "worn"]) {
      if (!(shares[part] > 0)) continue;
      const all = sums(cells, mask, part), live = mask.cells.reduce((n, hidden) => n + (hidden ? 0 : 1), 0);
      const unknown = known(check.groove) ? 0 : FACTS.groove_not_said;
      cases.push({ part, share: shares[part] * (1 - unknown), sums: all, beta: scale(live) });
      if (!unknown) continue;
      const ring = grooved(cells.columns, 0.5 - 0.5 * FACTS.groove_length, 0.5 + 0.5 * FACTS.groove_length);
      const outside = mask.cells.map((hidden, k) => (ring[k % cells.columns] && !hidden ? 0 : 1));
      const inside = outside.reduce((n, out) => n + (out ? 0 : 1), 0);
      const within = sums(cells, grid(cells.rows, cells.columns, outside), part), step = whole(FACTS.masked_cell * LIBRARY.STEPS) * inside;
      cases.push({ part, share: shares[part] * unknown, sums: all.map((s, k) => s.map((v, i) => v - within[k][i] + step)), beta: scale(live - inside) });
    }
    return cases;
  }

  function coarsened(pattern, mask) {
    const rows = Math.min(pattern.rows, MOST_ROWS), columns = Math.min(pattern.columns, MOST_COLUMNS);
    if (rows === pattern.rows && columns === pattern.columns) return [pattern, mask];
    const across = LIBRARY.overlaps(rows, pattern.rows), along = LIBRARY.overlaps(columns, pattern.columns);
    const marks = new Uint8Array(rows * columns), hidden = new Uint8Array(rows * columns);
    for (let r = 0; r < rows; r += 1) {
      for (let c = 0; c < columns; c += 1) {
        let blue = 1e-9, silence = 1e-9;
        for (const [pr, wr] of across[r]) {
          for (const [pc, wc] of along[c]) {
            blue += wr * wc * BLUE[pattern.cells[pr * pattern.columns + pc]];
            silence += wr * wc * mask.cells[pr * pattern.columns + pc];
          }
        }
        marks[r * columns + c] = (blue >= 0.1 ? 1 : 0) + (blue >= 0.5 ? 1 : 0);
        hidden[r * columns + c] = silence >= 0.5 ? 1 : 0;
      }
    }
    return [grid(rows, columns, marks), grid(rows, columns, hidden)];
  }

  function weigh(seen, silence, check, criteria) {
    const [pattern, mask] = coarsened(seen, silence);
    const flip = canonical(pattern, mask), cells = flipped(pattern, flip), level = levelOf(check, criteria);
    const cases = casesOf(cells, flipped(mask, flip), check);
    let top = -Infinity;
    for (const one of cases) for (const s of one.sums) for (const v of s) top = Math.max(top, v * one.beta);
    const evidence = {}, best = {};
    for (const cause of CAUSES) evidence[cause.name] = [0, 0, 0, 0];
    for (const { part, share, sums: logs, beta } of cases) {
      const { ranges } = LIBRARY.table(part, cells.rows, cells.columns);
      for (const cause of CAUSES) {
        const weight = weights(cause, part, check, level), total = weight.reduce((a, b) => a + b, 0);
        if (!(total > 1e-9)) continue;
        for (const family of cause.families) {
          const start = ranges[family][0];
          let largest = -1, at = 0;
          for (let k = 0; k < 4; k += 1) {
            let sum = 0;
            for (let i = 0; i < weight.length; i += 1) {
              const fit = Math.exp(Math.max(logs[k][start + i] * beta - top, LEAST_LIKELY)) * weight[i];
              sum += fit;
              if (fit > largest) { largest = fit; at = k * weight.length + i; }
            }
            evidence[cause.name][k] += share * sum / (total * cause.families.length);
          }
          const worth = largest * share / total, first = LIBRARY.library(part).ranges[family.startsWith("uneven") ? "straight" : family][0];
          if (!best[cause.name] || worth > best[cause.name].worth) {
            best[cause.name] = { worth, part, flip: FLIPS[Math.floor(at / weight.length)], number: first + at % weight.length };
          }
        }
      }
    }
    return posterior(evidence, best, check, flip, seen);
  }

  function posterior(evidence, best, check, flip, cells) {
    const priors = CAUSES.map((cause) => prior(cause, check));
    const raw = CAUSES.map((cause, k) => priors[k] * evidence[cause.name].reduce((a, b) => a + b, 0));
    const total = raw.reduce((a, b) => a + b, 0), before = priors.reduce((a, b) => a + b, 0), perMille = {};
    const like = 1 - FACTS.unlike;
    CAUSES.forEach((cause, k) => { perMille[cause.name] = whole(1000 * (like * raw[k] / total + FACTS.unlike * priors[k] / before)); });
    const ranked = CAUSES.map((cause) => cause.name).sort((a, b) => perMille[b] - perMille[a]);
    const share = (k, byFlip) => {
      const sum = Math.max(byFlip.reduce((a, b) => a + b, 0), 1e-300);
      return whole(1e6 * (FLIPS.reduce((s, f, j) => s + (f[k] === flip[k] ? byFlip[j] : 0), 0) / sum)) / 1e6;
    };
    const { part, number, flip: drawnFlip } = best[ranked[0]], drawn = new Float64Array(cells.cells.length);
    const across = LIBRARY.overlaps(cells.rows, LIBRARY.ROWS), along = LIBRARY.overlaps(cells.columns, LIBRARY.COLUMNS);
    LIBRARY.shares(LIBRARY.library(part), number, across, along, drawn);
    return { perMille, ranked, lastSide: share(0, evidence.side), lastEnd: share(1, evidence.tilt), best: flipped(flipped(grid(cells.rows, cells.columns, drawn), drawnFlip), flip) };
  }

  // --- places.py ---
  function places(g) {
    const label = new Int32Array(g.cells.length), found = [], to = (steps, v) => Math.floor(v * steps + 0.5) / steps + 0;
    for (let start = 0; start < g.cells.length; start += 1) {
      if (!g.cells[start] || label[start]) continue;
      const queue = [start], area = [];
      label[start] = 1;
      while (queue.length) {
        const cell = queue.pop(), r = Math.floor(cell / g.columns), c = cell % g.columns;
        area.push(cell);
        for (let dr = -1; dr <= 1; dr += 1) {
          for (let dc = -1; dc <= 1; dc += 1) {
            const rr = r + dr, cc = c + dc, other = rr * g.columns + cc;
            if (rr < 0 || cc < 0 || rr >= g.rows || cc >= g.columns || !g.cells[other] || label[other]) continue;
            label[other] = 1;
            queue.push(other);
          }
        }
      }
      let weight = 0, along = 0, around = 0, first = g.columns, last = 0;
      for (const cell of area) {
        const r = Math.floor(cell / g.columns), c = cell % g.columns, mark = g.cells[cell];
        weight += mark; along += mark * (c + 0.5); around += mark * (r + 0.5);
        first = Math.min(first, c); last = Math.max(last, c + 1);
      }
      found.push({
        along: to(1000, along / weight / g.columns), angle_deg: to(10, around / weight / g.rows * 180 - 90),
        first: first / g.columns, last: last / g.columns, weight,
      });
    }
    return found.sort((a, b) => b.weight - a.weight || a.along - b.along || a.angle_deg - b.angle_deg);
  }

  function covered(pattern, mask) {
    const { rows, columns } = pattern, marked = (r, c) => r >= 0 && c >= 0 && r < rows && c < columns && pattern.cells[r * columns + c] > 0 && !mask.cells[r * columns + c];
    const low = Array(columns).fill(false), joined = Array(columns).fill(false);
    for (let r = 0; r < rows; r += 1) {
      if (Math.abs(angleOf(r, rows)) > 60) continue;
      for (let c = 0; c < columns; c += 1) {
        if (!marked(r, c)) continue;
        low[c] = true;
        for (let dr = -1; dr <= 1; dr += 1) for (let dc = -1; dc <= 1; dc += 1) if ((dr || dc) && marked(r + dr, c + dc)) joined[c] = true;
      }
    }
    return joined.some(Boolean) ? joined : low;
  }

  function reachDeg(pattern, mask) {
    const sizes = [];
    for (let c = 0; c < pattern.columns; c += 1) {
      let around = 0;
      for (let r = 0; r < pattern.rows; r += 1) {
        const k = r * pattern.columns + c, mark = mask.cells[k] ? 0 : pattern.cells[k];
        around += mark === 2 ? 1 : mark === 1 ? 0.75 : 0;
      }
      if (around > 0) sizes.push(around);
    }
    if (!sizes.length) return 0;
    sizes.sort((a, b) => a - b);
    const middle = sizes.length >> 1;
    return (sizes.length % 2 ? sizes[middle] : (sizes[middle - 1] + sizes[middle]) / 2) * 180 / pattern.rows;
  }

  return { TABLE, BARS, GROUPS, SPOTS, CROWNS, PLAIN, SHIPPED, known, whole, grid, flipped, angleOf, silent, journalOf, rightFirst, weigh, places, covered, reachDeg };
};
