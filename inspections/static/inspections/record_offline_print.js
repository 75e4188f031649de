// The contact check without network: the drawn shells, the cells to tap, and what the print says, read on this device by
// the reader of the site (contact_worker.js) with what was taken along. It says nothing of a print it could not read.
import * as unsent from "../fleet/unsent_queue.js";
import * as contactFacts from "./contact_facts.js";
import { openBearing } from "./open_bearing.js";

export const printScreens = (pump) => {
  const find = (what, inside = document) => inside.querySelector(what);
  const PARTS = JSON.parse(find("#reader").textContent);
  const rules = openBearing(PARTS.effects), { entriesOf, half } = rules;
  const WORDS = { ".": "none", "+": "light", "#": "heavy" }, NEXT = { ".": "+", "+": "#", "#": "." };
  let worker = null, asked = 0;
  const waiting = new Map();

  // --- reading ---
  function start() {
    if (worker || !window.Worker) return;
    worker = new Worker(PARTS.worker, { type: "module" });
    worker.addEventListener("message", ({ data }) => {
      const answer = waiting.get(data.key);
      waiting.delete(data.key);
      if (answer) answer(data.reading || null);
    });
    worker.addEventListener("error", () => {
      for (const answer of waiting.values()) answer(null);
      waiting.clear();
      worker = null;
    });
  }

  function read(question) {
    start();
    if (!worker) return Promise.resolve(null);
    asked += 1;
    return new Promise((resolve) => {
      waiting.set(asked, resolve);
      worker.postMessage({ key: asked, ...question });
    });
  }

  // A print with what was known of its shell when it was taken, and the earlier prints of its half in this visit.
  function question(bearing, state, key) {
    const one = state.done[key], facts = contactFacts.taken(one.fields), { readings, works, prints } = rules.before(state, key);
    const measured = readings.filter(([, { um }]) => typeof um === "number").map(([name, { um, method }]) => (
      { stage: name.split(" ")[0], station: name.split(" ")[1], method: method || "", measured_by: state.measured_by, um }));
    const earlier = prints.filter((other) => half(other) === facts.half).map(({ print }) => ({ code: print.code, places: print.places }));
    const check = { ...PARTS.ends, ...facts, ...contactFacts.now(bearing.shell, measured, works, PARTS.effects) };
    return { cells: contactFacts.cellsOf(one.cells), check, criteria: bearing.criteria, earlier };
  }

  // Reads one print and keeps what it says with the visit, unless its cells were tapped on meanwhile.
  async function readOne(bearing, visit, key) {
    const before = await pump.stateOf(bearing.id);
    if (!before || before.visit !== visit || !before.done[key] || !bearing.shell) return null;
    const cells = before.done[key].cells, reading = await read(question(bearing, before, key));
    const state = await pump.stateOf(bearing.id), one = state && state.visit === visit && state.done[key];
    if (!one || one.cells !== cells || !reading) return null;
    const lines = Object.entries(PARTS.labels).map(([name, label]) => [label, reading.words[name]]).filter(([, words]) => words);
    const { code, engineer, places, words } = reading;
    one.print = { code, outcome: reading.outcome || "void", engineer, places, headline: words.headline, lines };
    one.said = words.headline;
    await unsent.put("kept", state);
    return one.print;
  }

  // What a killed tab left unread is read when the bearing is opened again.
  async function catchUp(bearing, state) {
    start();
    let read = false;
    for (const [key, one] of entriesOf(state)) if (one.cells && !one.print) read = (await readOne(bearing, state.visit, key)) || read;
    return Boolean(read);
  }

  // --- screens ---
  // The drawn shells, below them the last print that was taken along; the dye is asked once a visit.
  function contact(bearing, state) {
    pump.show("contact", "Which is most like the print?");
    start();
    const film = find("[data-film]"), knownFilm = find("[data-film-known]");
    film.hidden = Boolean(state.film);
    knownFilm.hidden = !state.film;
    if (state.film) find("span", knownFilm).textContent = state.film;
    const radio = find(`[name=film][value="${state.film || ""}"]`, film);
    if (radio) radio.checked = true;
    const box = find("[data-last-print]"), last = bearing.print;
    box.hidden = !last;
    if (!last) return;
    find("p", box).textContent = `Last print, ${last.on}${last.half ? `, ${last.half} half` : ""}, ${last.left} on the left. ${last.said}`;
    draw(find(".grid", box), last.cells, null);
  }

  function draw(box, cells, act) {
    const lines = cells.split("/").map((line) => [...line]);
    box.style.setProperty("--across", lines[0].length);
    box.replaceChildren(...lines.flatMap((line, i) => line.map((mark, k) => {
      const cell = document.createElement(act ? "button" : "span");
      cell.className = `cell ${WORDS[mark]}`;
      if (act) {
        cell.type = "button";
        cell.setAttribute("aria-label", `row ${i + 1}, column ${k + 1}: ${WORDS[mark]}`);
        cell.addEventListener("click", async () => {
          lines[i][k] = NEXT[lines[i][k]];
          cell.className = `cell ${WORDS[lines[i][k]]}`;
          cell.setAttribute("aria-label", `row ${i + 1}, column ${k + 1}: ${WORDS[lines[i][k]]}`);
          await act(lines.map((one) => one.join("")).join("/"));
        });
      }
      return cell;
    })));
  }

  // The print as it was read; null: it waits for the site.
  function say(print, before = "") {
    const note = find("[data-print-said]");
    note.dataset.outcome = print ? print.outcome : "";
    note.classList.toggle("note-limit", !print || print.outcome !== "acceptable");
    find("[data-headline]", note).textContent = print ? `${before}${print.headline}` : "Kept on this device.";
    const lines = print ? print.lines : [["", find("[data-unread] p").textContent]];
    find("[data-lines]", note).replaceChildren(...lines.map(([label, sentence]) => {
      const line = document.createElement("p"), quiet = document.createElement("span");
      quiet.className = "quiet";
      quiet.textContent = label ? `${label}. ` : "";
      line.append(quiet, sentence);
      return line;
    }));
  }

  async function readAndSay(bearing, visit, key) {
    const print = await readOne(bearing, visit, key), at = pump.current();
    if (document.body.dataset.shows === "print" && at && at.id === bearing.id) say(print, print ? pump.insteadOfScraping(print.outcome) : "");
  }

  // How it was taken, unless a figure of it is out of its bounds: that is shown where it stands.
  function taken() {
    const form = find("[data-taken-facts]"), wrong = form.querySelector("input:invalid");
    if (!wrong) return Object.fromEntries([...new FormData(form)].map(([name, value]) => [name, String(value)]));
    wrong.closest("details").open = true;
    wrong.reportValidity();
    return null;
  }

  // Kept at the first tap; what is tapped after it takes that entry's place, one tap after the other, also where the
  // first has left the device meanwhile: the server knows it by the check that it names.
  async function drawn(button) {
    const facts = taken(), { bearing, state } = pump.here();
    if (!facts) return;
    if (facts.film) state.film = find(`[name=film][value="${facts.film}"]`).parentElement.querySelector("b").textContent.toLowerCase();
    const key = `print ${state.n}`;
    let row = await pump.entry("contact", { fields: { ...facts, drawn: button.dataset.drawn } }), taps = 0, last = Promise.resolve();
    const check = row.id;
    await pump.done(key, "Print", find("span", button).textContent, "", row, { cells: button.dataset.cells, fields: facts });
    const outer = facts.first_end !== "in", left = find("[data-left]"), words = left.parentElement.dataset;
    left.textContent = outer ? words.out : words.in;
    find("[data-right-end]").textContent = outer ? words.in : words.out;
    pump.show("print", "Tap where the dye printed");
    say(null);
    find("[data-headline]").textContent = "Reading the print ...";
    draw(find("[data-cells-to-tap]"), button.dataset.cells, (cells) => {
      taps += 1;
      const fields = { cells, check, taps: String(taps) };
      last = last.then(async () => {
        row = await unsent.instead(row, fields);
        await pump.change(bearing.id, state.visit, key, (one) => {
          Object.assign(one, { entry: row.id, cells, said: "" });
          delete one.print;
        });
        readAndSay(bearing, state.visit, key);
      }).catch(() => { find("[data-full]").hidden = false; find("[data-full]").scrollIntoView(); });
      return last;
    });
    readAndSay(bearing, state.visit, key);
  }

  // At the hub: what each last print asks for, or that it waits for the site.
  function hub(state) {
    const box = find("[data-prints]"), prints = rules.standingPrints(state);
    find("[data-unread]").hidden = !rules.unread(state);
    box.replaceChildren(...prints.filter(({ one }) => one.print).map(({ one, half: which, scraped }) => {
      const note = document.createElement("div"), line = document.createElement("p"), [, next] = one.print.lines[0] || ["", ""];
      const words = scraped ? `The ${which} half was scraped after its last print: check it again.`
        : `Print of the ${which} half. ${pump.insteadOfScraping(one.print.outcome)}${one.print.headline} ${next}`;
      note.className = scraped || one.print.outcome !== "acceptable" ? "note note-limit" : "note";
      line.textContent = words;
      note.append(line);
      return note;
    }));
  }

  document.querySelectorAll("[data-drawn]").forEach((one) => one.addEventListener("click", (event) => pump.once(() => drawn(one))(event)));
  find("[data-film-known] button").addEventListener("click", () => {
    find("[data-film]").hidden = false;
    find("[data-film-known]").hidden = true;
  });
  return { contact, hub, catchUp, rules };
};
