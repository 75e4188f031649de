// The verdict on one reading, as inspections/verdict.py gives it: the same rule, the same words. A test holds the two
// together over a table of cases; change both.
"use strict";
const Verdict = (() => {
  const EIGHT_IN_TEN = 1.2815515655446004, FAR = 2.967737925342168, SLIP_CHANCE = 0.005, ASK_FROM = 0.35;
  const GUARD = 1.6448536269514722;
  const SLIPS = [
    [0.5, "radial where diametral is asked"], [2.0, "doubled already"],
    [0.1, "decimal mark misplaced"], [10.0, "decimal mark misplaced"],
    [0.01, "decimal mark misplaced"], [100.0, "decimal mark misplaced"],
    [1 / 2.54, "thou typed as hundredths of a millimetre"], [2.54, "hundredths of a millimetre typed as thou"],
    [1 / 25.4, "inches typed as millimetres"], [25.4, "millimetres typed as inches"],
    [1 / 39.37, "millimetres typed as thou"], [39.37, "thou typed as millimetres"],
    [0.001, "millimetres typed as micrometres"], [1000.0, "micrometres typed as millimetres"],
  ];
  const UNIT_UM = { mm: 1000, um: 1, mil: 25.4, thou: 25.4, in: 25400 };
  const DIGITS = { mm: 3, um: 0, mil: 1, thou: 1, in: 4 };
  const SIGN = { um: "µm" };
  const known = (x) => x !== null && x !== undefined;

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

  function question(value, sd, e) {
    const none = { asked: false, slip: "", mended: null };
    if (!e) return none;
    const far = Math.abs(distance(value, sd, e)) > FAR, asIs = likelihood(value, sd, e);
    let best = 0, slip = "", mended = null;
    for (const [factor, words] of SLIPS) {
      const odds = likelihood(value / factor, sd, e) / factor;
      if (odds > best && Math.abs(distance(value / factor, sd, e)) < FAR) { best = odds; slip = words; mended = value / factor; }
    }
    const chance = (SLIP_CHANCE / SLIPS.length) * best;
    const bySlip = chance > ASK_FROM * (chance + (1 - SLIP_CHANCE) * asIs);
    return far || (bySlip && !e.rough) ? { asked: true, slip, mended } : none;
  }

  const fixed = (number, digits) => (Math.floor(number * 10 ** digits + 0.5) / 10 ** digits).toFixed(digits);
  const shown = (um, unit) => fixed(um / UNIT_UM[unit], DIGITS[unit]);
  const withUnit = (um, unit) => `${shown(um, unit)} ${SIGN[unit] || unit}`;

  function chanceWords(p) {
    if (p < 0.001) return "less than 1 in 1000";
    if (p < 0.1) return `1 in ${Math.floor(1 / p + 0.5)}`;
    if (p <= 0.95) return `${Math.min(9, Math.max(1, Math.floor(10 * p + 0.5)))} in 10`;
    return p < 0.999 ? "more than 19 in 20" : "more than 999 in 1000";
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

  function questionWords(unit, e, slip, mended) {
    let said = `Measure once more while it is open: ${shown(e.low_um - e.taper_um, unit)} to ${withUnit(e.high_um, unit)} was expected.`;
    if (slip && known(mended)) said += ` A likely slip: ${slip}; it would then be ${withUnit(mended, unit)}.`;
    return said;
  }

  function verdict(value, sd, unit, held, expected) {
    const judged = judge(value, sd, held.low_um, held.high_um);
    const isHeld = known(held.low_um) || known(held.high_um);
    const { asked, slip, mended } = question(value, sd, expected);
    return {
      word: isHeld ? judged.word : "", p_low: judged.pLow, p_high: judged.pHigh,
      text: `${limitWords(judged.word, judged.pLow, judged.pHigh, unit, held, false)}${expectedWords(value, sd, expected, asked)}.`,
      asked, question: asked ? questionWords(unit, expected, slip, mended) : "", slip, mended_um: mended,
    };
  }

  // A number as typed, and the step it was typed with, in um; null where it is no plain number (the server says why).
  function typed(text, unit) {
    const bare = text.trim().replace(",", ".");
    if (!/^[0-9]*\.?[0-9]+$/.test(bare) || !(unit in UNIT_UM)) return null;
    const digits = (bare.split(".")[1] || "").length;
    return { um: Number(bare) * UNIT_UM[unit], step: 10 ** -digits * UNIT_UM[unit], digits };
  }

  return { verdict, readingSd, afterScrape, typed, shown, withUnit, DIGITS, SIGN, UNIT_UM };
})();
if (typeof window !== "undefined") window.Verdict = Verdict;
