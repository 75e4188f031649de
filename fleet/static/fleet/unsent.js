// What this device has not sent yet: counted on every page, sent on load, when the network comes back, on focus, and
// every 30 seconds. An entry leaves the device only after the server has named its id.
"use strict";
const Unsent = (() => {
  const at = document.body.dataset.queue, author = document.body.dataset.author;

  function opened() {
    return new Promise((resolve, reject) => {
      const asked = indexedDB.open("at the pump", 1);
      asked.onupgradeneeded = () => {
        asked.result.createObjectStore("queue", { keyPath: "id" });
        asked.result.createObjectStore("pack", { keyPath: "id" });
        asked.result.createObjectStore("kept", { keyPath: "id" });
      };
      asked.onsuccess = () => resolve(asked.result);
      asked.onerror = () => reject(asked.error);
    });
  }

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
  async function mend(row, fields) {
    const { why, ...bare } = row;
    await put("queue", { ...bare, fields: { ...row.fields, ...fields } });
    await count();
  }

  // Oldest first, a few at a time, so that a slow network still gets something through; figures before photos.
  async function batch() {
    const rows = (await all("queue")).filter((row) => row.author === author && !row.why && row.kind !== "photo");
    rows.sort((a, b) => (a.entered_at < b.entered_at ? -1 : a.entered_at > b.entered_at ? 1 : (a.n || 0) - (b.n || 0)));
    return rows.slice(0, 10);
  }

  async function post(rows) {
    const known = await (await fetch(at, { credentials: "same-origin" })).json();
    if (known.author !== author) return false;
    const [first] = rows, headers = { "X-CSRFToken": known.token };
    let body = JSON.stringify({ entries: rows });
    if (first.kind === "photo") {
      const { blob, ...bare } = first;
      body = new FormData();
      body.append("entry", JSON.stringify(bare));
      body.append("photo", blob, bare.name || "photo");
    } else headers["Content-Type"] = "application/json";
    const answer = await fetch(at, { method: "POST", credentials: "same-origin", headers, body });
    if (!answer.ok) return false;
    const kept = new Map(rows.map((row) => [row.id, row]));
    for (const one of (await answer.json()).entries) {
      if (one.state === "refused") await put("queue", { ...kept.get(one.id), why: one.why });
      else await drop("queue", one.id);
    }
    return true;
  }

  let sending = null;
  async function sendAll() {
    try {
      for (let rows = await batch(); rows.length; rows = await batch()) if (!(await post(rows))) return;
      const photos = (await all("queue")).filter((row) => row.author === author && !row.why && row.kind === "photo");
      for (const one of photos) if (!(await post([one]))) return;
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

  return { add, all, put, drop, mend, count, send, full, author };
})();
window.Unsent = Unsent;
if ("indexedDB" in window) {
  Unsent.send().catch(() => {});
  window.addEventListener("online", () => Unsent.send());
  window.addEventListener("focus", () => Unsent.send());
  setInterval(() => Unsent.send(), 30000);
}
if ("serviceWorker" in navigator && window.isSecureContext && document.body.dataset.worker) {
  navigator.serviceWorker.register(document.body.dataset.worker).catch(() => {});
}
