// The verdict on one reading, as inspections/visits/verdict.py gives it: the same rule, the same words. A test holds the two
// together over a table of cases; change both.

const EIGHT_IN_TEN = 1.2815515655446004, FAR = 2.967737925342168, LOW = 2.3263478740408408, SLIP_CHANCE = 0.005, ASK_FROM = 0.35;
const GUARD = 1.6448536269514722, COARSEST_STEP = 50, GROSS = 5;
const UNIT_UM = { mm: 1000, um: 1, mil: 25.4, thou: 25.4, in: 25400 };
const HUNDREDTH_MM = "hundredths of a millimetre";
const MEANT_UM = [["mm", 1000], ["um", 1], ["thou", 25.4], ["in", 25400], [HUNDREDTH_MM, 10]];
const SHIFTS = [
  [0.5, "radial where diametral is asked"], [2, "doubled already"], [0.1, "decimal mark misplaced"],
  [10, "decimal mark misplaced"], [0.01, "decimal mark misplaced"], [100, "decimal mark misplaced"],
  [1 / 2.54, "thou typed as hundredths of a millimetre"], [2.54, "hundredths of a millimetre typed as thou"],
];
const MEANT = {
  "radial where diametral is asked": "the whole clearance where the reading was radial",
  "doubled already": "the reading itself, not twice it", "decimal mark misplaced": "with the decimal mark elsewhere",
  "thou typed as hundredths of a millimetre": "thou that were typed as hundredths of a millimetre",
  "hundredths of a millimetre typed as thou": "hundredths of a millimetre that were typed as thou",
};
const DIGITS = { mm: 3, um: 0, mil: 1, thou: 1, in: 4 };
const SIGN = { um: "µm" };
const known = (x) => x !== null && x !== undefined;

// Every slip that a number in a box of this unit can be (fleet/slip_factors.py).
const SLIPS = Object.fromEntries(Object.entries(UNIT_UM).map(([box, own]) => {
  const meant = MEANT_UM.filter(([, um]) => um !== own).map(([name, um]) => ({ factor: own / um, words: name, unit: name }));
  const taken = new Set(meant.map(({ factor }) => factor.toFixed(9)));
  const others = SHIFTS.filter(([factor]) => !taken.has(factor.toFixed(9))).map(([factor, words]) => ({ factor, words, unit: "" }));
  return [box, [...meant, ...others]];
}));

// Complement of the error function: a series near zero, a continued fraction beyond; about 1e-15.
function erfc(x) {
  if (x < 0) return 2 - erfc(-x);
  if (x < 2.5) {
    let term = x, sum = x;
    for (let n = 1; n < 200 && term > sum * 1e-17; n += 1) { term *= (2 * x * x) / (2 * n + 1); sum += term; }
    return 1 - (2 / Math.sqrt(Math.PI)) * Math.exp(-x * x) * sum;
  }
  let tail = 0;
  for (let n = 120; n > 0; n -= 1) tail = (n / 2) / (x + tail);
  return Math.exp(-x * x) / Math.sqrt(Math.PI) / (x + tail);
}
const cdf = (z) => 0.5 * erfc(-z / Math.SQRT2);

function beyond(limit, value, sd, side) {
  if (!known(limit)) return 0;
  const short = side * (limit - value);
  return sd > 0 ? cdf(short / sd) : Number(short > 0);
}

function judge(value, sd, low, high) {
  const pLow = beyond(low, value, sd, 1), pHigh = beyond(high, value, sd, -1);
  const sure = cdf(GUARD), doubt = cdf(-GUARD);
  let word = "inside";
  if (Math.max(pLow, pHigh) > doubt) {
    word = pHigh >= pLow ? (pHigh >= sure ? "over" : "may be over") : (pLow >= sure ? "too tight" : "may be too tight");
  }
  return { word, pLow, pHigh };
}

const readingSd = (method, step, exceptions) =>
  Math.sqrt(method ** 2 + ((step || 0) / Math.sqrt(12)) ** 2 + exceptions.reduce((sum, one) => sum + one ** 2, 0));

function afterScrape(found, foundSd, step, stepSd) {
  const half = EIGHT_IN_TEN * Math.hypot(foundSd, stepSd), middle = found + step;
  return { low_um: middle - half, mid_um: middle, high_um: middle + half, taper_um: 0, rough: false };
}

const side = (half, sd) => Math.max(Math.hypot(Math.max(half, 0) / EIGHT_IN_TEN, sd), 1e-6);

function distance(value, sd, e) {
  const least = e.mid_um - e.taper_um;
  if (value < least) return (value - least) / side(e.mid_um - e.low_um, sd);
  if (value > e.mid_um) return (value - e.mid_um) / side(e.high_um - e.mid_um, sd);
  return 0;
}

function likelihood(value, sd, e) {
  const below = side(e.mid_um - e.low_um, sd), above = side(e.high_um - e.mid_um, sd);
  return Math.exp(-0.5 * distance(value, sd, e) ** 2) / (0.5 * (below + above));
}

const sdWith = (sd, step, other) =>
  Math.sqrt(Math.max(sd ** 2 - (step / Math.sqrt(12)) ** 2, 0) + (Math.min(other, COARSEST_STEP) / Math.sqrt(12)) ** 2);

function question(value, sd, e, unit, step, most) {
  const beyond = known(most) && !(value > 0 && value <= most);
  if (!e) return { asked: beyond, slip: null, mended: null };
  const own = sdWith(sd, step, step), away = distance(value, own, e), slips = SLIPS[unit];
  const far = Math.abs(away) > FAR, low = away < -LOW && !e.rough;
  let best = 0, slip = null, mended = null;
  for (const one of slips) {
    const meant = value / one.factor, spread = sdWith(sd, step, step / one.factor);
    const odds = likelihood(meant, spread, e) / one.factor;
    if (odds > best && Math.abs(distance(meant, spread, e)) < FAR) { best = odds; slip = one; mended = meant; }
  }
  const chance = (SLIP_CHANCE / slips.length) * best;
  const bySlip = chance > ASK_FROM * (chance + (1 - SLIP_CHANCE) * likelihood(value, own, e));
  return beyond || far || (bySlip && !e.rough) ? { asked: true, slip, mended } : { asked: low, slip: null, mended: null };
}

function unlike(low, high, sd, e) {
  const least = e.mid_um - e.taper_um;
  const short = known(low) && low > e.mid_um && distance(low, sd, e) > FAR;
  const long = known(high) && high < least && distance(high, sd, e) < -FAR;
  return short || long || [low, high].some((um) => um && (um * GROSS < least || um > GROSS * e.high_um));
}

function questionOfInterval(low, high, sd, e, unit, step, most) {
  const bounds = [low, high].filter(known), none = { asked: false, slip: null, mended: null };
  const beyond = known(most) && bounds.some((um) => !(um >= 0 && um <= most));
  if (!e) return { ...none, asked: beyond };
  if (!beyond && !unlike(low, high, sdWith(sd, step, step), e)) return none;
  let slip = null, mended = null, nearest = Infinity;
  const bound = (known(low) ? low : high) || 0, by = (um, factor) => (known(um) ? um / factor : null);
  for (const one of SLIPS[unit]) {
    if (!one.unit || bound <= 0) continue;  // twice as much or a tenth is what a strip gives that is really used up
    const away = Math.abs(Math.log(bound / one.factor / e.mid_um)), spread = sdWith(sd, step, step / one.factor);
    if (away < nearest && !unlike(by(low, one.factor), by(high, one.factor), spread, e)) { slip = one; mended = bound / one.factor; nearest = away; }
  }
  return { asked: true, slip, mended };
}

const fixed = (number, digits) => (Math.floor(number * 10 ** digits + 0.5) / 10 ** digits).toFixed(digits);
const shown = (um, unit) => fixed(um / UNIT_UM[unit], DIGITS[unit]);
const withUnit = (um, unit) => `${shown(um, unit)} ${SIGN[unit] || unit}`;

// As fleet.formatting.chance says it on every page.
function chanceWords(p) {
  if (p < 0.005) return "under 1 in 100";
  if (p < 0.095) return `${Math.floor(100 * p + 0.5)} in 100`;
  return p >= 0.95 ? "more than 9 in 10" : `${Math.max(1, Math.min(9, Math.floor(10 * p + 0.5)))} in 10`;
}

function limitWords(word, pLow, pHigh, unit, held, bounds) {
  const low = held.low_um, high = held.high_um;
  if (!known(low) && !known(high)) return "No limit is set to hold this against";
  const risk = bounds && word.startsWith("may") ? "its bounds leave it open" : "";
  if (word.endsWith("over") && known(high)) {
    return `${word === "over" ? "Over" : "May be over"} the ${held.name} of ${withUnit(high, unit)} (${risk || `${chanceWords(pHigh)} that it is`})`;
  }
  if (word.endsWith("tight") && known(low)) {
    return `${word === "too tight" ? "Too tight: under" : "May be too tight: under"} ${withUnit(low, unit)} (${risk || `${chanceWords(pLow)} that it is`})`;
  }
  if (!known(low)) return `Inside the ${held.name} of ${withUnit(high, unit)} (${chanceWords(pHigh)} that it is over)`;
  if (!known(high)) return `Inside: above ${withUnit(low, unit)} (${chanceWords(pLow)} that it is too tight)`;
  return `Inside ${shown(low, unit)} to ${withUnit(high, unit)} (${chanceWords(pLow + pHigh)} that it is not)`;
}

function expectedWords(value, sd, e, asked) {
  if (!e || (e.rough && !asked)) return "";
  if (asked) return ", but not what was expected";
  const away = distance(value, sd, e);
  if (Math.abs(away) <= EIGHT_IN_TEN) return ", and as expected";
  return away > 0 ? ", somewhat more than expected" : ", somewhat less than expected";
}

function typedDigits(step, unit) {
  if (step <= 0) return DIGITS[unit];
  return Math.min(Math.max(Math.floor(0.5 - Math.log10(step / UNIT_UM[unit])), 0), 6);
}

function meantWords(slip, mended, value, unit, step, sign) {
  const cure = `${sign}${withUnit(mended, unit)}`;
  if (!slip.unit) return `${cure}, ${MEANT[slip.words]}`;
  return `${sign}${fixed(value / UNIT_UM[unit], typedDigits(step, unit))} ${SIGN[slip.unit] || slip.unit} (${cure})`;
}

function questionWords(unit, held, e, found, value, step, sign) {
  if (!found.asked) return "";
  const said = [], again = "Measure once more while it is open";
  if (found.slip) said.push(`Did you mean ${meantWords(found.slip, found.mended, value, unit, step, sign)}?`);
  if (e) said.push(`${again}: ${shown(e.low_um - e.taper_um, unit)} to ${withUnit(e.high_um, unit)} was expected.`);
  else if (known(held.most_um)) said.push(`${again}: no clearance of this journal is more than ${withUnit(held.most_um, unit)}.`);
  return said.join(" ");
}

const asking = (unit, held, e, found, value, step, sign) => ({
  asked: found.asked, question: questionWords(unit, held, e, found, value, step, sign), slip: found.slip ? found.slip.words : "",
  mended_um: found.mended, mended_unit: found.slip && found.slip.unit in UNIT_UM ? found.slip.unit : "",
});

function verdict(value, sd, unit, held, expected, step = 0) {
  const judged = judge(value, sd, held.low_um, held.high_um);
  const isHeld = known(held.low_um) || known(held.high_um);
  const found = question(value, sd, expected, unit, step, held.most_um);
  const limit = limitWords(judged.word, judged.pLow, judged.pHigh, unit, held, false);
  return {
    word: isHeld ? judged.word : "", p_low: judged.pLow, p_high: judged.pHigh,
    text: `${limit}${expectedWords(value, sdWith(sd, step, step), expected, found.asked)}.`,
    ...asking(unit, held, expected, found, value, step, ""),
  };
}

// 2 surely, 1 perhaps, 0 not beyond; its chance, a half where the bounds leave it open.
function bounded(low, high, sd, limit, sign) {
  if (!known(limit)) return [0, 0];
  const at = sign * limit;
  if (known(low) && judge(low, sd, null, at).word === "over") return [2, judge(low, sd, null, at).pHigh];
  if (known(high) && judge(high, sd, null, at).word === "inside") return [0, judge(high, sd, null, at).pHigh];
  return [1, 0.5];
}

function verdictOfInterval(low, high, sd, unit, held, expected, step = 0) {
  const found = questionOfInterval(low, high, sd, expected, unit, step, held.most_um);
  const sign = !known(high) ? ">" : !known(low) ? "<" : "from ", bound = (known(low) ? low : high) || 0;
  const questioned = asking(unit, held, expected, found, bound, step, sign), unlike = found.asked ? ", but not what was expected" : "";
  if (!known(held.low_um) && !known(held.high_um)) {
    return { word: "", p_low: 0, p_high: 0, text: `No limit is set to hold this against${unlike}.`, ...questioned };
  }
  const [over, pOver] = bounded(low, high, sd, held.high_um, 1), minus = (um) => (known(um) ? -um : null);
  const [tight, pTight] = bounded(minus(high), minus(low), sd, held.low_um, -1);
  const word = over === 2 ? "over" : tight === 2 ? "too tight" : over ? "may be over" : tight ? "may be too tight" : "inside";
  return { word, p_low: pTight, p_high: pOver, text: `${limitWords(word, pTight, pOver, unit, held, true)}${unlike}.`, ...questioned };
}

// A number, a bound or an interval as typed, with a unit of its own or the box's, and the step it was typed with, in
// um; null where it is none (the server says why).
const SPELT = { mm: "mm", um: "um", "µm": "um", "μm": "um", mil: "mil", thou: "thou", in: "in", '"': "in" };
const NUMBER = "[0-9]*[.,]?[0-9]+";
function typed(text, box) {
  const [, bare, own] = text.trim().match(/^(.*?[0-9.,])\s*([a-zA-Zµμ]+|")$/) || [null, text.trim(), ""];
  const unit = own ? SPELT[own.toLowerCase()] : box;
  const parts = bare.match(new RegExp(`^(?:([<>]) *)?(${NUMBER})(?:-(${NUMBER}))?$`));
  if (!(unit in UNIT_UM) || !parts || (parts[1] && parts[3]) || (bare.includes(",") && bare.includes("."))) return null;
  const um = (part) => Number(part.replace(",", ".")) * UNIT_UM[unit], [, sign, first, second] = parts;
  const digits = Math.max(...[first, second].filter(Boolean).map((part) => (part.split(/[.,]/)[1] || "").length));
  const low = sign === "<" ? null : um(first), high = sign === "<" ? um(first) : second ? um(second) : null;
  if (second && low >= high) return null;
  return { um: sign || second ? null : low, low, high: sign || second ? high : low, step: 10 ** -digits * UNIT_UM[unit], digits, unit };
}

// What is said of what was typed (or of it with something taken off), each number `times` itself: 2 for a radial one.
function said(now, times, sd, held, expected) {
  if (known(now.um)) return verdict(now.um * times, sd, now.unit, held, expected, now.step * times);
  const of = (um) => (known(um) ? um * times : null);
  return verdictOfInterval(of(now.low), of(now.high), sd, now.unit, held, expected, now.step * times);
}

export { verdict, verdictOfInterval, said, readingSd, afterScrape, typed, shown, withUnit };
