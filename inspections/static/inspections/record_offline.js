// Recording without network: bearings taken along, their readings with the verdict by the same rule, prints, scrapes.
// Every entry goes into the device's queue at once under its own id; unsent_queue.js sends it.
import * as unsent from "../fleet/unsent_queue.js";
import * as packWords from "./pack_words.js";
import { printScreens } from "./record_offline_print.js";
import { faultOf, queueScreens } from "./record_unsent.js";
import * as verdict from "./verdict.js";

const find = (what, inside = document) => inside.querySelector(what);
const each = (what, act) => document.querySelectorAll(what).forEach(act);
const form = find("#reading");
let bearing = null, state = null, stage = "as_found", station = null;
let first = "";  // the entry that is being measured again
let cards = null;  // how to measure at the bearing's site, as taken along

function show(name, heading, saying = "") {
  each("[data-screen]", (one) => { one.hidden = one.dataset.screen !== name; });
  find("[data-heading]").textContent = heading;
  find("[data-saying]").textContent = saying;
  find("[data-which]").textContent = bearing ? `${bearing.pump} ${bearing.position}` : "Taken along";
  document.body.dataset.shows = name;
  window.scrollTo(0, 0);
}

// A second tap while the first is still being written changes nothing.
let busy = false;
const once = (act) => async (event) => {
  if (event) event.preventDefault();
  if (busy) return;
  busy = true;
  try { await act(event); } catch (fault) {
    if (find("[data-full]").hidden) throw fault;  // a full device has been told of already
  } finally { busy = false; }
};

// What stands open on this device for one bearing, kept so that a killed tab loses nothing.
const kept = async (id) => (await unsent.all("kept")).find((one) => one.id === id);
const keep = () => unsent.put("kept", state);

async function list() {
  bearing = state = null;
  find("[data-full]").hidden = !(await unsent.full());
  const taken = (await unsent.all("pack")).sort((a, b) => `${a.site} ${a.pump} ${a.position}`.localeCompare(`${b.site} ${b.pump} ${b.position}`));
  const box = find("[data-taken]"), wanted = find("#find-taken").value.toLowerCase();
  box.replaceChildren();
  find("[data-have]").hidden = !taken.length;
  for (const one of taken.filter((row) => `${row.pump} ${row.position}`.toLowerCase().includes(wanted)).slice(0, 40)) {
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = `${one.pump} ${one.position}`;
    button.addEventListener("click", () => { location.hash = one.id; });
    box.append(button);
  }
  show("list", "Recording without network", taken.length ? `${taken.length} bearings are on this device.` : "Nothing is taken along yet: tap once while there is network.");
  can();
}

async function can() {
  const box = find("[data-can]");
  let words = "This page is kept on the device: it opens without network.";
  if (!window.isSecureContext || !("serviceWorker" in navigator)) {
    words = "Without network this page will not open: that needs HTTPS (or localhost). The plain forms work while there is network; print sheets otherwise.";
  } else if (!(await navigator.serviceWorker.getRegistration())) words = "Offline is being made ready; look again in a moment. It needs Chromium 91, Safari 15, Firefox 147 or later.";
  else if (navigator.storage && navigator.storage.persist && !(await navigator.storage.persisted()) && !(await navigator.storage.persist())) {
    words += " The device may clear it when it runs short of room: send before you put it away.";
  }
  box.hidden = false;
  find("p", box).textContent = words;
}

async function take(button) {
  let fault = "";
  button.disabled = true;
  find("[data-saying]").textContent = "Taking along ... stay in the network until the bearings are listed.";
  try {
    const asked = new URLSearchParams({ site: button.dataset.take });
    for (const name of Object.keys(button.dataset)) if (name.startsWith("pump")) asked.append("pump", button.dataset[name]);
    const answer = await fetch(`/record/pack/?${asked}`, { credentials: "same-origin" });
    const { bearings, people, cards: bySite } = await answer.json();
    for (const one of bearings) await unsent.put("pack", one);
    for (const [site, approved] of Object.entries(bySite)) await unsent.put("kept", { id: `cards ${site}`, cards: approved });
    for (const [site, names] of Object.entries(people)) await unsent.put("kept", { id: `people ${site}`, names });
  } catch {
    fault = "No network now: what was taken along before is still here.";
  }
  button.disabled = false;
  await list();
  if (fault) find("[data-saying]").textContent = fault;
}

// `scanned`: by its label, so that the bearing is asked for again although one has begun there.
async function open(id, scanned = false) {
  bearing = (await unsent.all("pack")).find((one) => one.id === id) || null;
  if (!bearing) {
    await list();
    if (scanned) find("[data-saying]").textContent = "The bearing of this label is not on this device. Take its site along while there is network, or use a printed sheet.";
    return null;
  }
  state = await kept(id);
  if (state) judgeMended();
  find("[data-begin]").textContent = state ? "This one: go on" : "This one, isolated: begin";
  const guard = find("[data-guard]"), mark = document.createElement("b");
  mark.textContent = bearing.position;
  guard.replaceChildren(`${bearing.pump} `, mark);
  find("[data-cautions]").textContent = bearing.cautions;
  shell();
  packWords.book(bearing);
  cards = await kept(`cards ${bearing.site}`);
  await names();
  if (state) caughtUp(state);
  return state && !scanned ? hub() : show("guard", "Is this the bearing in front of you?", `${bearing.site}.`);
}

// What a killed tab left unread is read behind the screen, which is then drawn anew.
async function caughtUp(mine) {
  if (!(await print.catchUp(bearing, mine)) || state !== mine) return;
  shell();
  if (document.body.dataset.shows === "hub") await draw();
}

// What speaks against checking or scraping this shell, before either; a fact can still be recorded, with its reason.
const holds = () => Boolean(((state && state.holds) || []).length), mayScrape = () => rules.mayScrape(bearing, state);
const insteadOfScraping = (outcome) => rules.instead(bearing, state, outcome);
function shell() {
  each("[data-shell]", (box) => {
    box.hidden = !(bearing.shell_words || []).length;
    box.replaceChildren(...(bearing.shell_words || []).map((words) => Object.assign(document.createElement("p"), { textContent: words })));
  });
  find("[data-go=scrape]").hidden = !mayScrape();
  find("[data-scraped-anyway]").hidden = mayScrape();
}

async function scraped(note) {
  const n = state.n, row = await entry("scrape", { fields: note ? { note } : {} });
  state.work = state.work || "scrape";
  await done(`scrape ${n}`, "Done", "scraped", note, row, { work: "scrape" });
  return hub();
}

const namesAt = async (site) => ((await kept(`people ${site}`)) || { names: [] }).names;

// The names of the site, the one picked last on this device first; a name that is not listed goes along as typed.
async function names() {
  const known = await namesAt(bearing.site), last = (await kept("who")) || {};
  const box = find("[data-who]"), mine = last.person || unsent.author;
  box.replaceChildren(...known.map((one) => new Option(one.name, one.id, false, one.id === mine)));
  if (!known.some((one) => one.id === unsent.author)) {
    box.prepend(new Option("me, as signed in", unsent.author, false, mine === unsent.author));
  }
}

async function begin() {
  if (state) return hub();
  const typed = find("#who-else").value.trim(), who = find("[data-who]").value;
  state = { id: bearing.id, visit: crypto.randomUUID(), begun_at: new Date().toISOString(), work: "", done: {}, n: 0, measured_by: who, measured_by_name: typed };
  await unsent.put("kept", { id: "who", person: who });
  await keep();
  return read("as_found");
}

// Every entry is on the device before the screen goes on; a device without room says so and keeps the screen.
async function entry(kind, more) {
  state.n += 1;
  try {
    await keep();
    const who = { measured_by: state.measured_by, measured_by_name: state.measured_by_name };
    const row = await unsent.add({ kind, bearing: bearing.id, visit: state.visit, begun_at: state.begun_at, stage, station: station ? station.key : "", n: state.n, ...who, ...more });
    find("[data-full]").hidden = true;
    return row;
  } catch (fault) {
    find("[data-full]").hidden = false;
    find("[data-full]").scrollIntoView();
    await unsent.count();  // the head of the page says it too
    throw fault;
  }
}

const done = async (key, shown, words, said, row, more = {}) => {
  state.done[key] = { shown, words, said, entry: row.id, n: row.n, ...more };
  await keep();
};

// What stands open at a bearing: in hand, or as it is kept for when one comes back to it.
const stateOf = async (id) => (state && state.id === id ? state : kept(id));
async function change(id, visit, key, act) {
  const now = await stateOf(id);
  if (!now || now.visit !== visit || !now.done[key]) return;
  act(now.done[key]);
  await unsent.put("kept", now);
}

function read(which) {
  stage = which;
  station = bearing.stations.find((one) => !state.done[`${stage} ${one.key}`]);
  return station ? ask() : hub();
}

function ask() {
  first = "";
  form.reset();
  find("#id_unit").value = state.unit || bearing.unit;
  find("#id_method").value = state.method || bearing.method;
  find("#id_basis").value = state.basis || "diametral";
  each("[name=exceptions]", (one) => { one.checked = (state.exceptions || []).includes(one.value); });
  const at = bearing.stations.indexOf(station) + 1;
  show("read", `Clearance by ${find("#id_method").selectedOptions[0].textContent}`);
  find("[data-where]").textContent = `${stage === "as_left" ? "As left" : "As found"} · station ${at} of ${bearing.stations.length}, ${station.words}`;
  find("[data-verdict]").hidden = true;
  refuse("");
  find("[data-right]").hidden = true;
  find("[data-could-not]").hidden = false;
  lines();
  find("#id_value").focus();
  return null;
}

function lines() {
  const unit = find("#id_unit").value, expected = expectation(), said = [];
  packWords.cards(cards, find("#id_method").value);
  find("[data-unit-line]").textContent = `${unit}, ${find("#id_method").selectedOptions[0].textContent} · change`;
  if (station.last_um !== null) said.push(`Last time ${verdict.shown(station.last_um, unit)}`);
  if (expected && !expected.rough) said.push(`expected ${verdict.shown(expected.low_um - expected.taper_um, unit)} to ${verdict.withUnit(expected.high_um, unit)}`);
  find("[data-last]").textContent = said.join(" · ") || "First reading here: nothing to compare it with.";
}

function expectation() {
  const found = state.done[`as_found ${station.key}`];
  if (stage === "as_found") return station.expected;
  if (state.work === "new") return bearing.expected_new;
  const times = Math.max(Object.values(state.done).filter((one) => one.work === "scrape").length, 1);
  const step = state.work === "scrape" ? [bearing.step[0] * times, bearing.step[1] * Math.sqrt(times)] : [0, 0];
  if (found && found.um) return verdict.afterScrape(found.um, found.sd, step[0], step[1]);
  const e = station.expected;
  return e && !e.rough ? verdict.afterScrape(e.mid_um, (e.high_um - e.low_um) / 2.563103131, step[0], step[1]) : e;
}

function filled() {
  const fields = Object.fromEntries(["value", "unit", "method", "basis"].map((name) => [name, find(`#id_${name}`).value]));
  return { ...fields, exceptions: [...form.querySelectorAll("[name=exceptions]:checked")].map((one) => one.value) };
}

function judged(fields = filled()) {
  const typed = verdict.typed(fields.value, fields.unit);
  if (!typed) return null;
  const double = fields.basis === "radial" ? 2 : 1, ticked = (fields.exceptions || []).map((name) => bearing.exceptions[name]);
  const sd = verdict.readingSd(bearing.sd[fields.method] || 13, typed.step * double, ticked);
  const said = verdict.said(typed, double, sd, bearing.held[stage === "as_left" && state.work === "new" ? "as_left new" : stage], expectation());
  return { said, um: typed.um === null ? null : typed.um * double, sd };
}

function say() {
  const box = find("[data-verdict]"), now = judged();
  box.hidden = !now;
  if (!now) return;
  box.classList.toggle("note-limit", now.said.asked || /over|tight/.test(now.said.word));
  find("p", box).textContent = now.said.question ? `${now.said.text} ${now.said.question}` : now.said.text;
}

// What the site would refuse is said here at once, in the same words; it is not kept.
function refuse(fault) {
  find("[data-fault]").hidden = !fault;
  find("[data-fault] p").textContent = fault;
}

async function next() {
  const fields = filled();
  if (!fields.value.trim()) return find("#id_value").focus();
  const fault = faultOf(fields, "clearance");
  refuse(fault);
  if (fault) return find("#id_value").focus();
  const now = judged(fields), key = `${stage} ${station.key}`;
  Object.assign(state, { unit: fields.unit, method: fields.method, basis: fields.basis, exceptions: fields.exceptions });
  const row = await entry("reading", { fields, again: first });
  const { was = [], um, method, n } = state.done[key] || {};
  state.done[key] = { ...readingOf(fields, now), again: first, entry: row.id, n: row.n, was: n ? [...was, { um, method, n }] : was };
  await keep();
  return now && now.said.asked && !first ? again(key, now.said.question) : read(stage);
}

const stationOf = (key) => bearing.stations.find((one) => key.split(" ")[1] === one.key);
const readingOf = (fields, now) => ({
  shown: `${fields.value} ${fields.unit}`, words: station.words, method: fields.method,
  ...(now ? { um: now.um, sd: now.sd, said: now.said.text, word: now.said.word, asked: now.said.asked } : { um: null, sd: null, said: "", word: "", asked: false }),
});

// A value that was mended among what waits is judged as it stands now.
function judgeMended() {
  for (const [key, one] of Object.entries(state.done)) if (one.mended && stationOf(key)) {
    [[stage], station] = [key.split(" "), stationOf(key)];
    const now = readingOf(one.mended, judged(one.mended));
    Object.assign(one, now, { said: `Mended on the device. ${now.said}`, mended: null });
  }
  station = null;
}

// An unlikely value is kept and asked about: a second measurement counts, the first one stays.
function again(key, question) {
  [stage] = key.split(" ");
  station = stationOf(key);
  ask();
  first = state.done[key].entry;
  show("read", "Measure once more", question);
  find("[data-verdict]").hidden = true;
  find("[data-right]").hidden = false;
  find("[data-could-not]").hidden = true;
  find("#id_value").focus();
}

async function hub() {
  station = null;
  first = "";
  return (await draw()) ? show("hub", "What comes next?") : null;
}

// What stands outside its limits or is not what was expected, each with the way to measure it again.
function outside() {
  const words = rules.outsideWords(state, bearing.ring);
  find("[data-outside]").hidden = !words;
  find("[data-outside] p").textContent = words;
  find("[data-again]").replaceChildren(...rules.measureAgain(state).filter(([key]) => stationOf(key)).map(([key, one]) => {
    const button = Object.assign(document.createElement("button"), { type: "button", textContent: `Measure again: ${stageWords(key)}${one.words}` });
    button.addEventListener("click", () => again(key, one.said));
    return button;
  }));
}

// Not where another bearing was opened meanwhile.
async function draw() {
  const mine = state, waiting = await unsent.all("queue"), open_ids = new Set(waiting.map((one) => one.id));
  await queue.refusedHere(waiting.filter((one) => one.bearing === mine.id));
  if (!mine || state !== mine) return false;
  shell();
  print.hub(state);
  find("[data-holds]").hidden = !holds();
  if (holds()) find("[data-holds] p").textContent = `Hold: ${state.holds.join("; ")}. Do not close before the engineer has signed. Ring: ${bearing.ring}. Take a photo.`;
  outside();
  const left = bearing.stations.some((one) => !state.done[`as_found ${one.key}`]);
  find("[data-go=found]").parentElement.hidden = !left || Boolean(state.work);
  find("[data-go=left]").hidden = !state.work;
  find("[data-go=opened]").hidden = Object.keys(state.done).some((key) => key.startsWith("as_"));
  const box = find("[data-so-far]");
  box.replaceChildren();
  for (const [key, one] of Object.entries(state.done)) {
    const row = document.createElement("li"), words = document.createElement("span");
    const value = document.createElement(one.entry && open_ids.has(one.entry) ? "button" : "span");
    value.className = "value";
    value.textContent = one.shown;
    if (value.type) {
      value.type = "button";
      value.addEventListener("click", () => queue.open(one.entry));
    }
    words.textContent = `${stageWords(key)}${one.words}. ${one.said}`;
    row.append(value, words);
    box.append(row);
  }
  return true;
}

async function go(where) {
  if (where === "found") return read("as_found");
  if (where === "left") return read("as_left");
  if (where === "contact") return print.contact(bearing, state);
  if (where === "work") return show("work", "What was done?");
  if (where === "seen") return show("seen", "What did you see?");
  if (where === "photo") return show("photo", "A photo of this bearing");
  if (where === "opened") return show("opened", "Opened, nothing measured: why?");
  const n = state.n;
  if (where === "scrape") return scraped("");
  if (where === "nothing") await done(`seen ${n}`, "Seen", "nothing found", "", await entry("found", { fields: { nothing: "yes" } }));
  return hub();
}

// Of new metal half, reason and serial are asked, in the words of the site, before it counts.
function missing(form, fields) {
  if (!["shell_change", "rebabbitt"].includes(fields.kind)) return [];
  return ["half", "reason", "shell"].filter((name) => !(fields[name] || "").trim() && !(name === "shell" && fields.no_serial))
    .map((name) => form.dataset[name]);
}

async function worked(form) {
  const fields = Object.fromEntries([...new FormData(form)].map(([name, value]) => [name, String(value)])), n = state.n;
  const faults = missing(form, fields), box = find("[data-work-fault]");
  box.hidden = !faults.length;
  find("p", box).textContent = faults.join(" ");
  if (faults.length) return box.scrollIntoView();
  const row = await entry("work", { fields });
  if (["shell_change", "rebabbitt"].includes(fields.kind) && fields.half !== "upper") state.work = "new";
  else if (["shim_change", "journal_regrind"].includes(fields.kind)) state.work = state.work || "work";
  await done(`work ${n}`, "Done", find("#id_kind").selectedOptions[0].textContent.toLowerCase(), fields.note, row, { work: fields.kind, half: fields.half });
  form.reset();
  return hub();
}

// What of the ticked words stands on the plant's hold list; a device says it and never takes it back by itself.
function holding(fields) {
  const listed = bearing.hold || [];
  return Object.entries(fields).filter(([name]) => name.startsWith("words ")).flatMap(([name, words]) => [words].flat()
    .map((word) => [word, `${name.slice(6)}: ${word}`]).filter((both) => both.some((one) => listed.includes(one))).map((both) => both[1]));
}

async function saw(form) {
  const fields = {}, n = state.n;
  for (const [name, value] of new FormData(form)) {
    if (name.startsWith("words ")) (fields[name] = fields[name] || []).push(String(value));
    else if (value) fields[name] = String(value);
  }
  const words = Object.entries(fields).filter(([name]) => !name.startsWith("where")).map(([name, value]) => `${name.replace(/^\w+ /, "")}: ${[value].flat().join(", ")}`);
  if (!words.length) return find("[data-saying]").replaceChildren("Tick what was seen, or write a word.");
  const row = await entry("found", { fields });
  state.holds = [...(state.holds || []), ...holding(fields)];
  await done(`seen ${n}`, "Seen", words.join("; "), "", row);
  form.reset();
  return hub();
}

async function pictured(form) {
  const [file] = find("#photo").files, n = state.n;
  if (!file) return find("[data-saying]").replaceChildren("Take a photo or choose one first.");
  const row = await entry("photo", { blob: file, name: file.name, fields: { note: find("#photo-note").value } });
  await done(`photo ${n}`, "Photo", find("#photo-note").value || file.name, "", row);
  form.reset();
  return hub();
}

each("[data-take]", (one) => one.addEventListener("click", () => take(one)));
each("[data-back]", (one) => one.addEventListener("click", () => { history.replaceState(null, "", "/record/offline/"); list(); }));
each("[data-go]", (one) => one.addEventListener("click", once(() => go(one.dataset.go))));
each("[data-hub]", (one) => one.addEventListener("click", () => hub()));
each("[data-opened]", (one) => one.addEventListener("click", once(async () => {
  await done("opened", "Opened", one.dataset.opened, "", await entry("opened", { fields: { note: one.dataset.opened } }));
  hub();
})));
find("[data-scraped-why]").addEventListener("click", once(() => {
  const why = find("#scraped-why");
  if (!why.value.trim()) return why.focus();
  return scraped(why.value.trim()).then(() => { why.value = ""; });
}));
each("[data-because]", (one) => one.addEventListener("click", once(async () => {
  const row = await entry("could_not", { fields: { because: one.dataset.because } });
  await done(`${stage} ${station.key}`, "—", station.words, `not measured: ${one.textContent.toLowerCase()}`, row);
  read(stage);
})));
find("[data-work]").addEventListener("submit", once(() => worked(find("[data-work]"))));
find("[data-seen]").addEventListener("submit", once(() => saw(find("[data-seen]"))));
find("[data-photo]").addEventListener("submit", once(() => pictured(find("[data-photo]"))));
each("[data-less], [data-more]", (one) => one.addEventListener("click", () => {
  const field = find("#id_value"), unit = find("#id_unit").value;
  const step = { mm: 0.01, um: 10, thou: 0.5, mil: 0.5, in: 0.0005 }[unit], digits = { mm: 2, um: 0, thou: 1, mil: 1, in: 4 }[unit];
  const from = verdict.typed(field.value || verdict.shown(station.last_um || 0, unit), "um");
  if (from && from.um !== null && from.unit === "um") field.value = Math.max(0, from.um + (one.dataset.less === undefined ? step : -step)).toFixed(Math.max(digits, field.value ? from.digits : digits));
  say();
}));
find("[data-begin]").addEventListener("click", once(begin));
find("[data-could-not]").addEventListener("click", () => show("why", "Why not measured?", `${station.words}.`));
find("[data-right]").addEventListener("click", () => read(stage));
find("#find-taken").addEventListener("input", list);
form.addEventListener("submit", once(next));
form.addEventListener("input", () => { refuse(""); say(); });
form.addEventListener("change", () => { lines(); say(); });
window.addEventListener("hashchange", route);

// By the address's mark, or by the address of a label or of a bearing's record page that found no network.
async function route() {
  const parts = decodeURIComponent(location.pathname).split("/");
  if (location.hash.length > 1) return open(location.hash.slice(1));
  if (parts[1] === "b") return open(parts[2], true);
  if (parts[1] === "bearings") {
    const row = (await unsent.all("pack")).find((one) => one.pump === parts[2].replace(/~/g, "/") && one.position === parts[3].replace(/~/g, "/"));
    if (row) return open(row.id);
  }
  return list();
}

// What the screens of prints and of what waits are given of this one.
const pump = { show, list, bearingOf: async (id) => (await unsent.all("pack")).find((one) => one.id === id), kept, open, current: () => bearing, namesAt, once, entry, done, change, stateOf, insteadOfScraping, here: () => ({ bearing, state }) };
const print = printScreens(pump), queue = queueScreens(pump), { rules } = print, { stageWords } = rules;
route().then(() => unsent.count());
