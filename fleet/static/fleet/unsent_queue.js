// What this device has not sent yet: counted on every page, sent on load, when the network comes back, on focus, and
// every 30 seconds. An entry leaves the device only after the server has named its id and the hash of the bytes that the
// device sent; whatever else is answered, and whatever was mended meanwhile, stays with its reason.
import { opened } from "./device_store.js";

const at = document.body.dataset.queue, author = document.body.dataset.author;

async function change(store, act, mode = "readwrite") {
  const db = await opened();
  try {
    return await new Promise((resolve, reject) => {
      const run = db.transaction(store, mode, mode === "readwrite" ? { durability: "strict" } : undefined);
      const asked = act(run.objectStore(store));
      run.oncomplete = () => resolve(asked && asked.result);
      run.onerror = run.onabort = () => reject(run.error);
    });
  } finally {
    db.close();
  }
}

const all = (store) => change(store, (rows) => rows.getAll(), "readonly");
const put = (store, row) => change(store, (rows) => rows.put(row));
const drop = (store, id) => change(store, (rows) => rows.delete(id));

const LEAST_ROOM = 5e6;  // bytes; a figure needs a thousand, a photo a few million
let waiting = 0;

async function count() {
  const rows = await all("queue"), refused = rows.filter((row) => row.why).length;
  waiting = rows.length;
  const said = waiting ? `${waiting} unsent${refused ? `, ${refused} to look at` : ""}` : "";
  for (const place of document.querySelectorAll("[data-unsent]")) place.textContent = said + (await full() ? " · device full" : "");
  document.dispatchEvent(new CustomEvent("unsent", { detail: rows }));
  return waiting;
}

// Whether the device has no room left for more entries: said before anything is typed.
async function full() {
  if (!navigator.storage || !navigator.storage.estimate) return false;
  const { usage, quota } = await navigator.storage.estimate();
  return Boolean(quota) && quota - usage < LEAST_ROOM;
}

async function add(entry) {
  const row = { id: crypto.randomUUID(), author, entered_at: new Date().toISOString(), ...entry };
  await put("queue", row);
  await count();
  return row;
}

// An entry mended on the device, or sent once more: its reason goes, it is tried again.
async function mend(row, fields, beside = {}) {
  const { why, later, ...bare } = row;
  await put("queue", { ...bare, ...beside, fields: { ...row.fields, ...fields } });
  await count();
}

// An entry with fields changed under an id of its own, in the place of one that may be on its way at this moment:
// that one takes nothing along that was changed after it.
async function instead(row, fields) {
  const { why, later, ...bare } = row, next = { ...bare, id: crypto.randomUUID(), fields: { ...row.fields, ...fields } };
  await put("queue", next);
  await drop("queue", row.id);
  await count();
  return next;
}

// What goes out of an entry: its text without the device's own remarks. The picture of a photo goes behind it.
function textOf(row) {
  const { why, later, blob, ...bare } = row;
  return JSON.stringify(bare);
}

async function hashOf(text, blob) {
  const bytes = await new Blob(blob ? [text, blob] : [text]).arrayBuffer();
  const digest = await crypto.subtle.digest("SHA-256", bytes);
  return [...new Uint8Array(digest)].map((byte) => byte.toString(16).padStart(2, "0")).join("");
}

// Oldest first, a few at a time, so that a slow network still gets something through; figures before photos. What got
// no answer, or is to come later, is passed over until the next time.
async function batch(passed) {
  const rows = (await all("queue")).filter((row) => row.author === author && !row.why && row.kind !== "photo" && !passed.has(row.id));
  rows.sort((a, b) => (a.entered_at < b.entered_at ? -1 : a.entered_at > b.entered_at ? 1 : (a.n || 0) - (b.n || 0)));
  return rows.slice(0, 10);
}

// One answer about one entry, in one change of the store: the row as it stands now is compared with what was sent.
async function answered(sent, one) {
  const db = await opened();
  try {
    await new Promise((resolve, reject) => {
      const run = db.transaction("queue", "readwrite", { durability: "strict" }), rows = run.objectStore("queue");
      const asked = rows.get(sent.id);
      asked.onsuccess = () => {
        const row = asked.result;
        if (!row || textOf(row) !== sent.text) return;  // removed or mended meanwhile: it goes again as it is now
        if (one.state === "refused") rows.put(one.later ? { ...row, later: one.why } : { ...row, why: one.why });
        else if (one.id === sent.id && one.sha256 === sent.sha256 && ["stored", "already"].includes(one.state)) rows.delete(sent.id);
      };
      run.oncomplete = resolve;
      run.onerror = run.onabort = () => reject(run.error);
    });
  } finally {
    db.close();
  }
}

async function post(rows, passed) {
  const known = await (await fetch(at, { credentials: "same-origin" })).json();
  if (known.author !== author) return false;
  const sent = await Promise.all(rows.map(async (row) => ({ id: row.id, text: textOf(row), sha256: await hashOf(textOf(row), row.blob) })));
  const [first] = rows, headers = { "X-CSRFToken": known.token };
  let body = JSON.stringify({ entries: sent.map(({ text, sha256 }) => ({ text, sha256 })) });
  if (first.kind === "photo") {
    body = new FormData();
    body.append("entry", sent[0].text);
    body.append("sha256", sent[0].sha256);
    body.append("photo", first.blob, first.name || "photo");
  } else headers["Content-Type"] = "application/json";
  const answer = await fetch(at, { method: "POST", credentials: "same-origin", headers, body });
  if (!answer.ok) return false;
  const byHash = new Map(sent.map((one) => [one.sha256, one]));
  for (const row of rows) passed.add(row.id);
  for (const one of (await answer.json()).entries) if (byHash.has(one.sha256)) await answered(byHash.get(one.sha256), one);
  return true;
}

// An earlier version of this script was told to keep its entries until this one runs.
async function freshened() {
  for (const row of await all("queue")) if (row.why && row.why.startsWith("Reload this page")) await mend(row, {});
}

let sending = null;
async function sendAll() {
  try {
    const passed = new Set();
    await freshened();
    for (let rows = await batch(passed); rows.length; rows = await batch(passed)) if (!(await post(rows, passed))) return;
    const photos = (await all("queue")).filter((row) => row.author === author && !row.why && row.kind === "photo");
    for (const one of photos) if (!(await post([one], passed))) return;
  } catch (fault) {
    // No network, or an answer that got lost: the entries stay and go again under the same ids.
  } finally {
    await count();
  }
}

// One sender per device, also among several open tabs.
function send() {
  if (!at || !author || !navigator.onLine) return count();
  sending = sending || (navigator.locks ? navigator.locks.request("unsent", sendAll) : sendAll()).finally(() => { sending = null; });
  return sending;
}

// Signing out leaves unsent entries on the device; nobody does so unawares.
for (const form of document.querySelectorAll("form[data-sign-out]")) {
  form.addEventListener("submit", (event) => {
    if (!waiting) return;
    const words = `${waiting} ${waiting === 1 ? "entry is" : "entries are"} not sent yet. They stay on this device until you sign in here again. Sign out all the same?`;
    if (!window.confirm(words)) event.preventDefault();
  });
}

if ("indexedDB" in window) {
  send().catch(() => {});
  window.addEventListener("online", () => send());
  window.addEventListener("focus", () => send());
  setInterval(() => send(), 30000);
}
if ("serviceWorker" in navigator && window.isSecureContext && document.body.dataset.worker) {
  navigator.serviceWorker.register(document.body.dataset.worker, { type: "module" }).catch(() => {});
}

export { add, all, put, drop, mend, instead, count, send, full, author };
