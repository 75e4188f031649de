// Keeps the shell of the recording screens, so that they open without network, and catches a form that found none. The
// address recording-worker.js begins it with what it keeps, as which version, and the bounds of what is typed.
//
// A device may still have the worker of before modules, under the same address. A browser that looks for a newer one by
// itself takes this one for that type of script, cannot read it, and leaves the old one at work; the next page from the
// network registers it as a module, and it takes the place. Entries stay in the device's database all the while.
import { opened } from "../fleet/device_store.js";
import * as typedValue from "./typed_value.js";

const SHELL = "/record/offline/";
let KEPT = [], VERSION = "", BOUNDS = {};
export const begin = (given) => { ({ KEPT, VERSION, BOUNDS } = given); };

self.addEventListener("install", (event) => {
  event.waitUntil((async () => {
    const page = await fetch(SHELL, { credentials: "same-origin" });
    if (page.redirected) throw new Error("nobody is signed in: the worker of before stays, with the page that it keeps");
    const cache = await caches.open(VERSION);
    await cache.addAll(KEPT);
    if (page.ok) await cache.put(SHELL, page);
    await self.skipWaiting();
  })());
});

self.addEventListener("activate", (event) => {
  event.waitUntil((async () => {
    for (const name of await caches.keys()) if (name !== VERSION) await caches.delete(name);
    await self.clients.claim();
  })());
});

// A plain form that found no network: its fields become an entry of the queue under the form's own id, so that it is
// stored once even where only the answer was lost. A photo goes in as it is; it is sent after the figures.
async function catchForm(request) {
  const fields = await request.formData(), said = fields.get("offline");
  if (!said) return told("This step needs the network", "Nothing was lost: go back, and do it again when there is network.", []);
  const entry = { ...JSON.parse(said), id: fields.get("id") || crypto.randomUUID(), entered_at: new Date().toISOString(), fields: {} };
  for (const name of new Set(fields.keys())) {
    if (["offline", "csrfmiddlewaretoken", "id"].includes(name)) continue;
    const all = fields.getAll(name);
    if (all[0] instanceof File) {
      if (all[0].size) Object.assign(entry, { blob: all[0], name: all[0].name });
      continue;
    }
    entry.fields[name] = name === "exceptions" || name.startsWith("words ") ? all.map(String) : String(all[0]);
  }
  if (entry.kind === "reading") {
    const { value = "", unit, basis, less = "" } = entry.fields, quantity = entry.quantity || "clearance";
    const known = BOUNDS[quantity] || {}, fault = typedValue.fault(value, { unit, basis, less, quantity, bounds: known.um, words: known.words });
    if (fault) return told("Not kept", `${fault} Go back, or to what is kept on this device, and type it again.`, typedIn(entry));
  }
  try {
    const db = await opened();
    await new Promise((resolve, reject) => {
      const change = db.transaction("queue", "readwrite", { durability: "strict" });
      change.objectStore("queue").put(entry);
      change.oncomplete = resolve;
      change.onerror = change.onabort = () => reject(change.error);
    });
  } catch (fault) {
    return told("Not kept: this device has no room left", "Write this down, make room or use a printed sheet, then go back and enter it again.", typedIn(entry));
  }
  return Response.redirect(`${SHELL}#${entry.bearing}`, 303);
}

const typedIn = (entry) => Object.entries(entry.fields).filter(([, value]) => value.length).map(([name, value]) => `${name}: ${value}`);

// A page of the worker's own, where there is no other; what was typed stands on it.
function told(heading, words, lines) {
  const safe = (text) => text.replace(/[&<>"]/g, (sign) => `&#${sign.charCodeAt(0)};`);
  const list = lines.map((line) => `<li>${safe(line)}</li>`).join("");
  const body = `<!doctype html><html lang="en"><meta charset="utf-8"><meta name="viewport" content="width=device-width"><title>${heading}</title>
<link rel="stylesheet" href="${KEPT[0]}"><main><h1>${heading}</h1><p>${words}</p><ul>${list}</ul><p><a href="${SHELL}">To what is kept on this device</a></p></main>`;
  return new Response(body, { status: 503, headers: { "Content-Type": "text/html; charset=utf-8" } });
}

async function page(request) {
  const spare = request.method === "POST" ? request.clone() : null;
  try {
    const answer = await fetch(request);
    if (new URL(request.url).pathname === SHELL && answer.ok && !answer.redirected) {
      (await caches.open(VERSION)).put(SHELL, answer.clone());
    }
    return answer;
  } catch (fault) {
    if (spare) return catchForm(spare);
    return (await caches.match(SHELL)) || Response.error();
  }
}

self.addEventListener("fetch", (event) => {
  const { request } = event, path = new URL(request.url).pathname;
  if (request.mode === "navigate") event.respondWith(page(request));
  else if (request.method === "GET" && KEPT.includes(path)) {
    event.respondWith(caches.match(request).then((kept) => kept || fetch(request)));
  }
});
