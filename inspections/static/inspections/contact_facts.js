// What a print is read with on a device: how it was taken, and what the record taken along and this visit know of the
// shell, by the rules of inspections/visits/shell_now.py and forms.ContactForm. A test holds them together; change both.

const AGREE = 2, WIDEST = 0.2, USUAL_SD_UM = 10, STAGES = ["as_left", "as_found"];
const TEN_TO_NINETY_SD = 2.563;
const known = (value) => value !== null && value !== undefined;
const mean = (rows) => rows.reduce((sum, one) => sum + one.um, 0) / rows.length;

function lastOf(measured) {
  for (const stage of STAGES) {
    const own = measured.filter((one) => one.stage === stage);
    if (own.length) return own;
  }
  return [];
}

const expectedSd = (record) => (record.low_um && record.high_um ? (record.high_um - record.low_um) / TEN_TO_NINETY_SD : null);
const trust = (record, method) => (known(record.sd_um[method]) ? record.sd_um[method] : USUAL_SD_UM);
const trusted = (record, last) => last.filter((one) => known(record.sd_um[one.method])).map((one) => record.sd_um[one.method]);

function twice(record, last) {
  return last.some((a, n) => last.slice(n + 1).some((b) => {
    const other = a.method !== b.method || a.measured_by !== b.measured_by;
    return a.station === b.station && other && Math.abs(a.um - b.um) <= AGREE * Math.hypot(trust(record, a.method), trust(record, b.method));
  }));
}

function asExpected(record, last, works, effects) {
  const middle = record.middle_um, sd = expectedSd(record);
  if (!(last.length && record.measured_before && middle && known(sd))) return false;
  if (sd > WIDEST * middle || works.some((kind) => ["new_metal", "new_baseline"].includes(effects[kind]))) return false;
  const scrapes = works.filter((kind) => kind === "scrape").length, [step, stepSd] = record.step, own = trusted(record, last);
  const spread = Math.hypot(sd, own.length ? Math.max(...own) : USUAL_SD_UM, Math.sqrt(scrapes) * stepSd);
  return Math.abs(mean(last) - middle - scrapes * step) <= AGREE * spread;
}

function stateOf(record, works, effects) {
  const done = works.filter((kind) => ["new_metal", "step"].includes(effects[kind]));
  if (done.length) return done[done.length - 1] === "scrape" ? "scraped" : "new";
  return record.measured_before ? "run_in" : "";
}

// `measured`: the visit's clearances that count, each {stage, station, method, measured_by, um}, in order; `works`: the
// kinds of what was done, in order; `effects`: what each kind does to the series.
function now(record, measured, works, effects) {
  const last = lastOf(measured), state = stateOf(record, works, effects), own = trusted(record, last);
  const um = last.length ? mean(last) : record.middle_um || null;
  const gained = state === "run_in" && known(record.first_fit_um) && known(um);
  return {
    seat: record.seat, load_side: record.load_side, journal_mm: record.journal_mm, scrapeable: record.scrapeable,
    clearance_um: um, clearance_sd_um: own.length ? Math.max(...own) : last.length ? null : expectedSd(record),
    measured_twice: twice(record, last) || asExpected(record, last, works, effects), state,
    gained_um: gained ? um - record.first_fit_um : null, gained_sd_um: gained ? Math.SQRT2 * USUAL_SD_UM : null,
  };
}

// How a print was taken, from the fields of its form.
function taken(fields) {
  const said = { yes: true, no: false }, number = (text) => (String(text || "").trim() ? Number(text) : null);
  return {
    half: fields.half || "lower", in_place: known(said[fields.in_place]) ? said[fields.in_place] : null, film: fields.film || "",
    bedded_by_hand: known(said[fields.bedded]) ? said[fields.bedded] : null, worn_arc_deg: number(fields.worn_arc_deg),
    turned_deg: number(fields.turned_deg), first_end: fields.first_end || "out", first_side: fields.first_side || "",
  };
}

const cellsOf = (text) => text.split("/").map((line) => [...line].map((mark) => Math.max(".+#".indexOf(mark), 0)));
export { now, taken, cellsOf };
