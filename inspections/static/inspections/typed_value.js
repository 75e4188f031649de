// A reading as typed, read on the device as fleet/units.py reads it on the site: the same grammar, the same sentences, the
// same bounds. A test holds the two together over a table of cases; change both.

const UNIT_UM = { mm: 1000, um: 1, mil: 25.4, thou: 25.4, in: 25400 };
const SPELLINGS = { "\u00b5m": "um", "\u03bcm": "um", '"': "in" };
const NEAR = {
  mils: "mil", thous: "thou", inch: "in", inches: "in", "in.": "in", "''": "in", micron: "um", microns: "um",
  micrometre: "um", micrometer: "um", millimetre: "mm", millimeter: "mm", u: "um",
};
const LONGEST_CELL = 80, LONGEST_WHOLE = 15, LONGEST_FRACTION = 20, LONGEST_TYPED = 40;
const UNSIGNED = "(?:[0-9]+(?:\\.[0-9]+)?|\\.[0-9]+)";
const NUMBER = new RegExp(`^[+-]?${UNSIGNED}$`), BETWEEN = new RegExp(`^(-?${UNSIGNED}) *[-\u2013] *(-?${UNSIGNED})$`);
const REMEDIES = [
  [/^$/, "give the number, or leave out the row"],
  [/^[+-]?(nan|inf(inity)?)$/i, "give the measured number, or leave out the row"],
  [/^([^\S ]|.*[\u00a0\u2009\u202f ].*[0-9])$/, "take out the space inside the number"],
  [/^[+-]?[0-9.,]+[eE][+-]?[0-9]+$/, "write the number out without an exponent"],
  [/^.*[0-9]_[0-9].*$/, "take out the underscore"],
  [/^[+-]?[0-9]+[.,]$/, "finish the number or take out the mark at its end"],
  [/^[0-9]+ ?\/ ?[0-9]+$/, "write a fraction as a decimal number, and two values in a row each"],
  [/^[\u2212\u2013].*$/, "write the minus sign as a plain hyphen"],
  [/^[<>].+$/, "give the number alone; only a measured value may be a bound"],
  [/^[0-9.,]+ ?[/&;+] ?[0-9.,]+$/, "give each value its own row; an interval is written low-high"],
  [/^[~\u2248].*$/, "give the number alone; an interval is written low-high"],
  [/^[+-]?[0-9.,]+\s*([a-zA-Z\u00b5\u03bc]+|"|'')$/, "give the number alone and its unit in the unit column"],
];

class Unreadable extends Error {
  constructor(found, expected, remedy) {
    super(`${quoted(found)} found, ${expected} expected; ${remedy}`);
    Object.assign(this, { expected, remedy });
  }
}

function quoted(text) {
  if (text === "") return "an empty cell";
  return `'${text.length <= 40 ? text : `${text.slice(0, 37)}...`}'`;
}

const expectedNumber = (comma) => `a plain number with a decimal ${comma ? "comma" : "point"}`;
const withPoint = (text, comma) => (comma ? (text.includes(".") ? null : text.replaceAll(",", ".")) : text.includes(",") ? null : text);

function remedyOf(text, comma) {
  if (/[^\x00-\x7f]/.test(text) && /\p{Nd}/u.test(text.replace(/[0-9]/g, ""))) return "type the digits 0 to 9 on a plain keyboard";
  for (const [pattern, remedy] of REMEDIES) if (pattern.test(text)) return remedy;
  if (/^[+-]?[0-9]+(?:[.,' ][0-9]{3})*[.,][0-9]+$/.test(text) && text.match(/[.,' ]/g).length > 1) return "take out the separators between the thousands";
  if (!comma && /^[<>]?[+-]?[0-9]*,[0-9]+$/.test(text)) return "declare the decimal comma for the whole file, or write a decimal point";
  if (comma && /^[<>]?[+-]?[0-9]*\.[0-9]+$/.test(text)) return "write a decimal comma as declared, or declare the decimal point for the whole file";
  return "type digits with one decimal mark and nothing else";
}

function number(text, comma) {
  const bare = text.trim(), plain = withPoint(bare, comma);
  if (plain === null || plain.length > LONGEST_CELL || !NUMBER.test(plain)) {
    throw new Unreadable(text, expectedNumber(comma), remedyOf(bare.slice(0, LONGEST_CELL), comma));
  }
  const [whole, fraction = ""] = plain.replace(/^[+-]+/, "").split(".");
  if (whole.length > LONGEST_WHOLE || fraction.length > LONGEST_FRACTION) {
    throw new Unreadable(text, `a number with at most ${LONGEST_WHOLE} digits before and ${LONGEST_FRACTION} after the decimal mark`, "check the cell; no measurement needs so many digits");
  }
  return Number(plain);
}

function inside(part, whole, comma) {
  try { return number(part, comma); } catch (fault) { throw new Unreadable(whole, fault.expected, fault.remedy); }
}

// Each number of a value (0.152, 9 1/2), a bound (>0.006) or an interval (0.003-0.004).
function measured(text, comma) {
  const bare = text.trim(), mixed = /^([0-9]{1,4}) +([0-9]{1,3})\/(2|4|8|16|32|64|128|256)$/.exec(bare);
  if (mixed && Number(mixed[2]) > 0 && Number(mixed[2]) < Number(mixed[3])) return [Number(mixed[1]) + mixed[2] / mixed[3]];
  if (/^[<>]/.test(bare)) return [inside(bare.slice(1).replace(/^ +/, ""), text, comma)];
  const plain = withPoint(bare, comma), pair = plain === null || plain.length > LONGEST_CELL ? null : BETWEEN.exec(plain);
  if (!pair) return [inside(bare, text, comma)];
  const low = number(pair[1]), high = number(pair[2]);
  if (low >= high) throw new Unreadable(text, "an interval from a smaller to a larger number", low > high ? "write the smaller number first" : "write the number once");
  return [low, high];
}

function unitOf(text) {
  const key = text.trim().toLowerCase(), unit = Object.hasOwn(SPELLINGS, key) ? SPELLINGS[key] : key;
  if (Object.hasOwn(UNIT_UM, unit)) return unit;
  const near = Object.hasOwn(NEAR, key) ? NEAR[key] : "";
  throw new Unreadable(text, "a unit of length (mm, um, mil, thou, in)", near ? `write ${near}` : "give the unit the length was read in");
}

function parted(text) {
  const bare = text.trim(), found = bare.length > LONGEST_CELL ? null : /^([^]*?[0-9.,])\s*([a-zA-Z\u00b5\u03bc]+|")$/.exec(bare);
  return found ? [found[1].trimEnd(), unitOf(found[2])] : [bare, null];
}

// Why the site would refuse a value, in the site's words; empty where it would take it.
// `bounds`: least and most, um, that the quantity may be; `less`: what is taken off a plain number first.
export function fault(text, { unit, basis = "diametral", quantity = "clearance", bounds, words, less = "" }) {
  if (!text.trim()) return "Give the reading, or tap Could not measure.";
  if (text.length > LONGEST_TYPED) return `Ensure this value has at most ${LONGEST_TYPED} characters (it has ${text.length}).`;
  let bare, numbers, named;
  try {
    const parts = parted(text);
    [bare, named] = [parts[0], parts[1] || unit];
    numbers = measured(bare, bare.includes(","));
    if (less.trim()) numbers = [number(bare, bare.includes(",")) - number(less.trim(), less.includes(","))];
  } catch (trouble) {
    return trouble instanceof Unreadable ? `${trouble.message[0].toUpperCase()}${trouble.message.slice(1)}.` : String(trouble);
  }
  const double = basis === "radial" && quantity === "clearance" ? 2 : 1;
  for (const one of numbers) {
    const um = (Math.round(one * UNIT_UM[named] * 1e4) / 1e4) * double;
    if (bounds && !(um >= bounds[0] && um <= bounds[1])) {
      return `${bare} ${named} is ${um} µm; a ${words || quantity} lies between ${bounds[0]} and ${bounds[1]} µm. Check the value and its unit.`;
    }
  }
  return "";
}
