// From the weight of the causes to one outcome and its words, as inspections/contact/outcome.py, words.py and reader.py
// give them: the same bars and sentences from the same table. A test holds them together; change both.
// `contactPrint(table).read(cells, check, criteria, earlier)`.
import { contactReader } from "./contact_reader.js";

export const contactPrint = (table) => {
  const reader = contactReader(table);
  const { TABLE, BARS, GROUPS, SPOTS, CROWNS, PLAIN, SHIPPED, known, whole, grid, flipped, angleOf } = reader;
  const { silent, journalOf, rightFirst, weigh, places, covered, reachDeg } = reader;
  const WORDS = TABLE.words;
  const decision = (code, outcome, engineer = false) => ({ code, outcome, engineer });
  const sum = (p, ...causes) => causes.reduce((total, cause) => total + p.evidence.perMille[cause], 0);
  const liveColumns = (p) => Array.from({ length: p.pattern.columns }, (_, c) => {
    for (let r = 0; r < p.pattern.rows; r += 1) if (!p.mask.cells[r * p.pattern.columns + c]) return true;
    return false;
  });
  const seen = (p) => grid(p.pattern.rows, p.pattern.columns, p.pattern.cells.map((v, k) => (p.mask.cells[k] ? 0 : v)));
  const marked = (p) => seen(p).cells.reduce((n, v) => n + (v > 0 ? 1 : 0), 0);
  const bare = (p) => marked(p) < BARS.least_marked;

  function voided(check) {
    if (check.in_place === false) return "";
    if (check.seat === "spherical") return "spherical_seat";
    const unloaded = (check.half === "upper" && check.load_side === "bottom") || (check.half === "lower" && check.load_side === "top");
    return unloaded ? "unloaded_half" : "";
  }
  const loaded = (check) => !((check.half === "upper" && check.load_side === "bottom") || (check.half === "lower" && check.load_side === "top"));

  function decide(p) {
    const code = voided(p.check);
    if (code) return decision(code, "");
    if (bare(p)) return decision("bare", "repeat");
    if ((p.check.turned_deg || 0) > p.criteria.max_turn_deg) return decision("turned_too_far", "repeat");
    let reached = inspect(p);
    if (p.check.in_place !== true && ["alignment", "acceptable"].includes(reached.outcome)) reached = outOfPlace(p.check, reached);
    const finding = !["acceptable", "repeat"].includes(reached.outcome) && reached.code !== "clearance_open";
    return decision(reached.code, reached.outcome, finding && p.check.scrapeable !== "yes");
  }

  function astride(p) {
    const { rows, columns } = p.pattern, within = Math.max(BARS.astride_within_deg, 90 / rows) + 1e-9;
    let told = 0, lying = 0;
    for (let c = 0; c < columns; c += 1) {
      let left = false, right = false, low = false, live = false;
      for (let r = 0; r < rows; r += 1) {
        const angle = angleOf(r, rows), k = r * columns + c, print = p.pattern.cells[k] > 0 && !p.mask.cells[k];
        if (Math.abs(angle) <= within) { low = low || print; live = live || !p.mask.cells[k]; }
        if (angle < -BARS.astride_beyond_deg) left = left || print;
        if (angle > BARS.astride_beyond_deg) right = right || print;
      }
      if (live) { told += 1; if (left && right && !low) lying += 1; }
    }
    return told > 0 && lying >= BARS.astride_share * told;
  }

  function inspect(p) {
    if (astride(p)) return decision("astride", "seat");
    if (isGood(p)) {
      const fits = good(p);
      return fits.outcome === "acceptable" ? leftOpen(p) || fits : fits;
    }
    const spot = spotted(p);
    if (spot) return spot;
    if (sum(p, "thick", "tight", "pinch") >= BARS.wide && sum(p, "tight") >= BARS.wide_tight && sum(p, "pinch") < BARS.wide_pinch) return decision("wide", "measure");
    const most = (names, worth) => names.reduce((best, name) => (worth(name) > worth(best) ? name : best));
    const outcome = most(Object.keys(GROUPS), (name) => sum(p, ...GROUPS[name]));
    if (sum(p, ...GROUPS[outcome]) < BARS.named) return decision("does_not_tell", "repeat");
    const cause = most(GROUPS[outcome], (name) => sum(p, name));
    if (cause === "spot" || cause === "spots") return decision("spot_unsure", "repeat");
    return decision(cause === "tilt" && p.journal.tapered ? "taper" : cause, outcome);
  }

  const isGood = (p) => sum(p, "good") >= BARS.good && sum(p, "tilt", "skew", "side") <= BARS.good_alignment;

  function leftOpen(p) {
    const clearance = sum(p, "pinch", "tight", "large") > BARS.good_clearance || sum(p, "pinch") > BARS.good_pinch;
    if (clearance || sum(p, "large") > BARS.good_large || measuredOnce(p)) return decision("clearance_open", "measure");
    const unlike = sum(p, "spot", "spots", "uneven") > BARS.good_spots || sum(p, "hollow", "proud") > BARS.good_crown;
    return unlike ? decision("spot_open", "repeat") : null;
  }

  function measuredOnce(p) {
    if (p.check.measured_twice || !["new", "scraped"].includes(p.check.state)) return !p.check.measured_twice;
    const tight = sum(p, "tight"), large = sum(p, "large");
    const either = Math.max(tight, large) > BARS.once_each || tight + large > BARS.once_both;
    return either || sum(p, "pinch", "thick", "tight") > BARS.once_wide;
  }

  function coverage(p) {
    const live = liveColumns(p), carries = covered(p.pattern, p.mask), n = live.filter(Boolean).length;
    return n ? carries.filter((v, c) => v && live[c]).length / n : 0;
  }

  function good(p) {
    const live = liveColumns(p), carries = covered(p.pattern, p.mask), n = live.length;
    if (p.check.film === "heavy") return decision("film_heavy", "repeat");
    if (coverage(p) < p.criteria.min_coverage) return decision("short", "repeat");
    const end = Math.max(1, Math.trunc(n * BARS.end_share + 0.5));
    for (const [from, to] of [[0, end], [n - end, n]]) {
      const part = live.map((v, c) => v && c >= from && c < to);
      if (part.some(Boolean) && !part.some((v, c) => v && carries[c])) return decision("bare_end", "repeat");
    }
    return arcRefused(p) ? decision("arc_outside", "repeat") : decision("good", "acceptable");
  }

  function arcRefused(p) {
    if (p.criteria.author === SHIPPED.author || p.check.state === "run_in") return false;
    const arc = reachDeg(p.pattern, p.mask), row = 180 / p.pattern.rows;
    return arc + 0.5 * row < p.criteria.min_arc_deg || arc - 0.5 * row > p.criteria.max_arc_deg;
  }

  function spotted(p) {
    const straight = p.journal.straight === true, crown = sum(p, "hollow", "proud"), spots = sum(p, "spot", "spots");
    if (spots + (straight ? crown : 0) < BARS.spot) return null;
    if (sum(p, "pinch", "tight", "large", "tilt", "skew", "side") > BARS.spot_forbidden) return null;
    if (!straight && crown > BARS.spot_crown) return null;
    if (highShare(p) >= BARS.spot_high_share) return decision("up_the_sides", "seat");
    if (crown > spots) return crowned(p);
    if (!returned(p)) return decision("first_spot", "repeat");
    return p.check.scrapeable === "yes" ? decision("spot", "scrape") : decision("ask_spot", "measure");
  }

  function crowned(p) {
    const cause = sum(p, "hollow") >= sum(p, "proud") ? "hollow" : "proud";
    if (!p.earlier.some((before) => CROWNS.includes(before.code))) return decision(cause, "measure");
    return p.check.scrapeable === "yes" ? decision(`${cause}_off`, "scrape") : decision("ask_crown", "measure");
  }

  function returned(p) {
    const here = places(seen(p));
    const near = (a, list) => a.length > 0 && list.some((b) => Math.abs(a[0].along - b.along) <= BARS.same_along && Math.abs(a[0].angle_deg - b.angle_deg) <= BARS.same_deg);
    return p.earlier.some((before) => SPOTS.includes(before.code) && near(before.places, here) && near(here, before.places));
  }

  function highShare(p) {
    const { rows, columns } = p.pattern, cells = seen(p).cells;
    let high = 0;
    for (let k = 0; k < cells.length; k += 1) if (cells[k] > 0 && Math.abs(angleOf(Math.floor(k / columns), rows)) > BARS.spot_high_deg) high += 1;
    return high / Math.max(marked(p), 1);
  }

  function outOfPlace(check, reached) {
    if (!known(check.in_place)) return decision("place_unknown", "repeat");
    if (reached.outcome === "alignment") return decision("mandrel_alignment", "repeat");
    return loaded(check) ? decision("mandrel_good", "repeat") : reached;
  }

  // --- words.py ---
  const filled = (text, values) => text.replace(/\{(\w+)\}/g, (_, name) => values[name]);
  function sentences(p, reached) {
    const values = valuesOf(p), code = TABLE.codes[reached.code], [first] = p.evidence.ranked, causes = !code.made_by;
    let next = filled(code.next, values);
    if (reached.engineer && !reached.code.startsWith("ask_")) next = `${next} ${filled(WORDS.engineer, values)}`;
    const n = p.pattern.cells.reduce((count, v) => count + (v > 0 ? 1 : 0), 0);
    return {
      headline: filled(code.headline, values),
      shows: filled(WORDS[n === 0 ? "shows_nothing" : n === 1 ? "shows_little" : "shows"], values),
      made_by: causes ? madeBy(p, values) : filled(code.made_by, values),
      rivals: causes ? questioned(p, reached, values) + rivals(p) : missing(p.check) || WORDS.no_rival,
      next,
      drawn: causes && p.evidence.perMille[first] >= BARS.named ? filled(WORDS.drawn, { first: makes(first, p, values) }) : "",
    };
  }

  function madeBy(p, values) {
    const [first, second] = p.evidence.ranked, chance = p.evidence.perMille;
    const parts = { first: makes(first, p, values), second: makes(second, p, values), first_share: shareOf(chance[first]), second_share: shareOf(chance[second]) };
    if (chance[first] < BARS.named) return filled(WORDS.no_cause, parts);
    return filled(WORDS[chance[second] >= BARS.rival ? "likely_or" : "likely"], parts);
  }

  function shareOf(perMille) {
    const tens = 10 * Math.floor((perMille + 50) / 100);
    return tens >= 100 ? WORDS.share_high : filled(WORDS.share, { tens: Math.max(tens, 10) });
  }

  function makes(cause, p, values) {
    let key = cause;
    if (cause === "good" && p.check.state === "run_in") key = "good_run_in";
    if (cause === "tilt" && known(p.journal.tapered)) key = p.journal.tapered ? "tilt_tapered" : "tilt_straight";
    if ((cause === "hollow" || cause === "proud") && p.journal.straight) key = `${cause}_straight`;
    return filled(TABLE.makes[key], values);
  }

  function rivals(p) {
    const [first, second] = p.evidence.ranked, lacking = missing(p.check);
    if (p.evidence.perMille[second] < BARS.rival) return lacking || WORDS.no_rival;
    const pair = TABLE.rivals[`${first} ${second}`] || TABLE.rivals[`${second} ${first}`] || TABLE.rivals.other;
    return `${pair} ${lacking}`.trim();
  }

  // A question where the print is said to carry at one end and yet marks most of the length.
  function questioned(p, reached, values) {
    const everywhere = liveColumns(p).some(Boolean) && coverage(p) >= p.criteria.min_coverage;
    return ["tilt", "taper"].includes(reached.code) && everywhere ? `${filled(WORDS.whole_length, values)} ` : "";
  }

  function missing(check) {
    const clearance = !known(check.clearance_um), film = !check.film && !known(check.film_um);
    if (clearance && film) return WORDS.missing_both;
    return clearance ? WORDS.missing_clearance : film ? WORDS.missing_film : "";
  }

  const general = (value) => String(Number(value.toPrecision(6)));
  function valuesOf(p) {
    const areas = places(p.pattern), { check, criteria, journal } = p, n = areas.length;
    const crown = journal.straight ? "journal_straight" : journal.crowned ? "journal_crowned" : "journal_unknown";
    const barrel = String(whole(Math.abs(journal.barrel || 0)));
    return {
      coverage: `${5 * whole(20 * coverage(p))} %`, min_coverage: `${whole(100 * criteria.min_coverage)} %`,
      reach: String(5 * whole(reachDeg(p.pattern, p.mask) / 5)), min_arc: general(criteria.min_arc_deg), max_arc: general(criteria.max_arc_deg),
      areas: n === 1 ? WORDS.area : filled(WORDS.areas, { n }), where: n ? where(areas[0], p.pattern.columns, check) : WORDS.nowhere,
      end: p.evidence.lastEnd >= 0.5 ? check.outer_end : check.pump_end, side: side(p.evidence.lastSide >= 0.5, check),
      turned: String(whole(check.turned_deg || 0)), max_turn: String(whole(criteria.max_turn_deg)),
      scrapeable: WORDS[check.scrapeable === "no" ? "scrapeable_no" : "scrapeable_unknown"],
      taper: String(whole(Math.abs(journal.taper || 0))), barrel, taper_next: WORDS[known(journal.tapered) ? "taper_no" : "taper_unknown"],
      journal_next: filled(WORDS[crown], { barrel }),
    };
  }

  function where(place, columns, check) {
    const cell = 1 / columns, first = place.first < 0.5 * cell, last = place.last > 1 - 0.5 * cell;
    let along;
    if (first && last) along = WORDS.end_to_end;
    else if (first || last) {
      const end = first ? check.pump_end : check.outer_end;
      along = filled(WORDS[place.last - place.first <= 0.5 ? "at_end" : "past_middle"], { end });
    } else if (Math.abs(place.along - 0.5) < 0.18) along = WORDS.mid_length;
    else along = filled(WORDS.towards, { end: place.along < 0.5 ? check.pump_end : check.outer_end });
    const middle = { lower: WORDS.bottom, upper: WORDS.top }[check.half] || WORDS.centre;
    const around = Math.abs(place.angle_deg) < 22.5 ? middle : filled(WORDS.on, { side: side(place.angle_deg > 0, check) });
    return `${along}, ${around}`;
  }

  function side(last, check) {
    const rotated = check.first_end === "out";
    if (!check.first_side) return WORDS[last !== rotated ? "last_row" : "first_row"];
    return WORDS[last !== rightFirst(check) ? "right" : "left"];
  }

  // --- reader.py ---
  function read(cells, facts = {}, plant = {}, earlier = []) {
    const check = { ...PLAIN, ...facts }, criteria = { ...SHIPPED, ...plant }, rows = cells.length, columns = cells[0].length;
    const rotated = check.first_end === "out", turn = [rotated, rotated];
    const pattern = flipped(grid(rows, columns, Uint8Array.from(cells.flat())), turn), mask = silent(check, rows, columns);
    const p = { pattern, mask, check, criteria, journal: journalOf(check, criteria), evidence: weigh(pattern, mask, check, criteria), earlier };
    const reached = decide(p), unread = Boolean(voided(check)) || bare(p), [first] = p.evidence.ranked;
    const best = flipped(p.evidence.best, turn), lastSide = (p.evidence.lastSide >= 0.5) !== rotated;
    return {
      outcome: reached.outcome || null, code: reached.code, engineer: reached.engineer, words: sentences(p, reached),
      causes: unread ? [] : p.evidence.ranked.map((name) => [name, p.evidence.perMille[name]]),
      end: first === "tilt" && !unread ? (p.evidence.lastEnd >= 0.5 ? "out" : "in") : "",
      side: first === "side" && !unread ? (lastSide ? "last" : "first") : "",
      drawn: unread ? null : Array.from({ length: rows }, (_, r) => Array.from({ length: columns }, (__, c) => Math.floor(1000 * best.cells[r * columns + c] + 0.500001) / 1000)),
      coverage: coverage(p), arc_deg: reachDeg(pattern, mask), places: places(seen(p)), version: TABLE.version,
    };
  }

  return { read };
};
