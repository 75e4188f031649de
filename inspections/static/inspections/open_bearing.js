// What stands at a bearing that is open on this device, by the rules of inspections/visits/open_bearing.py and
// word_at_pump.py. `state` is what the device kept of the visit, `effects` what each kind of work does to the series.
export const openBearing = (effects) => {
  const MEASURE = "Measure again", REPEAT = "Repeat the print", ENGINEER = "Ask the engineer", HOLD = "Hold", REPLACE = "Replace";
  const OF_PRINT = { repeat: REPEAT, void: REPEAT, measure: MEASURE, alignment: ENGINEER, seat: ENGINEER };
  const entriesOf = (state) => Object.entries((state && state.done) || {});

  // --- readings ---
  const reading = ([key, entry]) => key.startsWith("as_") && "um" in entry;
  const asFound = (key) => key.startsWith("as_found");
  const stageWords = (key) => (key.startsWith("as_left") ? "as left, " : asFound(key) ? "as found, " : "");

  // Those that say what lies there now: as found only where no new metal, shims or journal has replaced it.
  function standingReadings(state) {
    const changed = entriesOf(state).some(([, entry]) => ["new_metal", "new_baseline"].includes(effects[entry.work]));
    return entriesOf(state).filter((row) => reading(row) && !(changed && asFound(row[0])));
  }

  // Not surely inside its limits. What was too tight as found is measured as left once metal came off.
  function beyond(state) {
    const scraped = entriesOf(state).some(([, entry]) => entry.work === "scrape");
    return standingReadings(state).filter(([key, { word = "" }]) => /over/.test(word) || (/tight/.test(word) && !(scraped && asFound(key))));
  }

  // Not what was expected, until it is measured again; an earlier version of the page kept that beside the entries.
  const doubted = (state) => standingReadings(state).filter(([, entry]) => !entry.again && (entry.asked || (state.again && entry.entry === state.again)));

  const measureAgain = (state) => [...new Map([...beyond(state).filter(([, entry]) => !entry.again), ...doubted(state)])];

  // A reading is measured again first; only then it is the engineer's.
  function outsideWords(state, ring) {
    const named = (rows) => rows.map(([key, entry]) => `${stageWords(key)}${entry.words}, ${entry.shown}, ${/over|tight/.test(entry.word || "") ? entry.word : "not what was expected"}`).join("; ");
    const first = measureAgain(state), settled = beyond(state).filter(([, entry]) => entry.again), words = [];
    if (settled.length) words.push(`Outside its limits, measured again and still so: ${named(settled)}. Do not close up on it before the engineer has signed. Ring: ${ring}.`);
    if (first.length) words.push(`Measure again, by another hand or method: ${named(first)}.`);
    return words.join(" ");
  }

  // --- prints ---
  // An earlier version of the page kept prints without their cells: nothing reads those before the site does.
  const printed = ([key, entry]) => key.startsWith("print ") || Boolean(entry.cells);
  const half = (entry) => (entry.fields && entry.fields.half) || "lower";
  const newMetal = (work, which) => effects[work.work] === "new_metal" && (!work.half || work.half === which);

  // A scrape is of the halves whose print before it asked for one, else of both.
  function wasOf(state, key, which) {
    const all = entriesOf(state), last = new Map();
    for (const row of all.slice(0, all.findIndex(([other]) => other === key))) if (printed(row)) last.set(half(row[1]), row[1]);
    const asking = [...last].filter(([, entry]) => entry.print && entry.print.outcome === "scrape").map(([name]) => name);
    return !asking.length || asking.includes(which);
  }

  // The last print of each half that still shows the shell that lies there, and whether it was scraped since.
  function standingPrints(state) {
    const last = new Map(), all = entriesOf(state);
    all.forEach((row, n) => { if (printed(row)) last.set(half(row[1]), { n, one: row[1], half: half(row[1]) }); });
    return [...last.values()].filter((at) => !all.slice(at.n).some(([, work]) => newMetal(work, at.half)))
      .map((at) => ({ ...at, scraped: all.slice(at.n).some(([key, work]) => work.work === "scrape" && wasOf(state, key, at.half)) }));
  }

  const unread = (state) => standingPrints(state).some(({ one }) => !one.print);

  // What lay there when a print was taken, whenever it is read: of each station the value before it, and the work and the
  // prints before it, in order. What was kept without its number in the visit is told by its place.
  function before(state, key) {
    const all = entriesOf(state), place = all.findIndex(([other]) => other === key), own = all[place][1].n;
    const earlier = (n, at) => (own && n ? n < own : at < place);
    const readings = all.flatMap(([name, one], at) => {
      const values = reading([name, one]) ? [...(one.was || []), one].filter(({ n }) => earlier(n, at)) : [];
      return values.length ? [[name, values[values.length - 1]]] : [];
    });
    const others = all.filter(([, one], at) => at !== place && earlier(one.n, at)).map(([, one]) => one);
    return { readings, works: others.filter((one) => one.work).map((one) => one.work), prints: others.filter((one) => one.print) };
  }

  // --- scraping ---
  const shellAllows = (bearing) => bearing.may_scrape ?? bearing.scrapeable !== false;

  function ofPrint(bearing, { one, scraped }) {
    if (scraped) return REPEAT;
    if (!one.print) return "Wait for the site";
    const { outcome, engineer } = one.print, word = outcome === "scrape" && !shellAllows(bearing) ? ENGINEER : OF_PRINT[outcome];
    const spherical = outcome === "void" && bearing.shell && bearing.shell.seat === "spherical";
    return word && (engineer || spherical) ? ENGINEER : word || "";
  }

  // From the trigger that was taken along: from this reading on a shell is replaced rather than scraped; a bound does not
  // say on which side of it the shell lies, and where a new shell is likely nothing is scraped unmeasured.
  function ofTrigger(bearing, state) {
    const limit = bearing.scrape_limit_um;
    if (state.work === "new" || limit === null || limit === undefined) return "";
    if (limit <= 0) return ENGINEER;
    const rows = entriesOf(state).filter(reading), left = rows.filter(([key]) => !asFound(key)), last = left.length ? left : rows;
    if (last.some(([, { um }]) => typeof um !== "number") || (!last.length && bearing.measure_first)) return MEASURE;
    return last.every(([, { um, sd }]) => um + 2 * (sd || 0) < limit) ? "" : ENGINEER;
  }

  // The word that stands before scraping; empty where nothing speaks against it. Before any print only damage and a
  // reading outside its limits do.
  function against(bearing, state) {
    if (((state && state.holds) || []).length) return HOLD;
    const prints = standingPrints(state), ofPrints = prints.map((at) => ofPrint(bearing, at)).find(Boolean);
    const tight = beyond(state).some(([, { word, again }]) => again && /tight/.test(word));
    if (ofPrints) return tight && ofPrints === MEASURE ? HOLD : ofPrints;
    for (const [side, then] of [[/tight/, HOLD], [/over/, REPLACE]]) {
      const row = beyond(state).find(([, { word }]) => side.test(word));
      const asked = then === REPLACE && bearing.wrong_limit ? ENGINEER : then;
      if (row) return row[1].again ? asked : MEASURE;
    }
    if (!prints.length) return "";
    return doubted(state).length ? MEASURE : ofTrigger(bearing, state);
  }

  // After a print scraping is a step only where one asks for it.
  function mayScrape(bearing, state) {
    const prints = standingPrints(state), asked = !prints.length || prints.some(({ one }) => one.print && one.print.outcome === "scrape");
    return shellAllows(bearing) && asked && !against(bearing, state);
  }

  // What stands before the headline of a print whose advice is not to be followed: it asks for scraping in vain, or
  // carries well in a bearing that is held.
  function instead(bearing, state, outcome) {
    const word = against(bearing, state), held = outcome === "acceptable" && word === HOLD;
    return held || (outcome === "scrape" && !mayScrape(bearing, state)) ? `${word || ENGINEER}. The print: ` : "";
  }

  return { entriesOf, stageWords, beyond, doubted, measureAgain, outsideWords, half, before, standingPrints, unread, against, mayScrape, instead };
};
