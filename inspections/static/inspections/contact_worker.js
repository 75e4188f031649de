// Reads prints beside the page, so that taps are not held up: the library of prints takes a second or more to make.
// Asked first {scripts, table}, addresses of the reader's parts; then {key, cells, check, criteria, earlier}, each answered
// {key, reading}, or {key} alone where it could not be read.
"use strict";
let reader = null;

async function begin({ scripts, table }) {
  importScripts(...scripts);
  const { contactPrint, contactReader, ContactLibrary } = self, answer = await fetch(table, { credentials: "same-origin" });
  const print = contactPrint(contactReader(await answer.json(), ContactLibrary));
  print.read(Array(5).fill(Array(7).fill(1)));  // makes library and table of the usual grid before the first print comes
  return print;
}

self.addEventListener("message", async ({ data }) => {
  if (data.scripts) {
    reader = begin(data);
    reader.catch(() => {});
    return;
  }
  try {
    const { key, cells, check, criteria, earlier } = data;
    self.postMessage({ key, reading: (await reader).read(cells, check, criteria, earlier) });
  } catch (fault) {
    self.postMessage({ key: data.key });
  }
});
