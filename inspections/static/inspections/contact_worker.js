// Reads prints beside the page, so that taps are not held up: the library of prints takes a second or more to make. It
// comes behind the reader's parts and the table of causes, bars and words (the address contact-reader.js).
// Asked {key, cells, check, criteria, earlier}, it answers {key, reading}, or {key} alone where it could not read.
"use strict";
const READER = contactPrint(contactReader(TABLE, ContactLibrary));
READER.read(Array(5).fill(Array(7).fill(1)));  // makes library and table of the usual grid before the first print comes

self.addEventListener("message", ({ data }) => {
  const { key, cells, check, criteria, earlier } = data;
  try {
    self.postMessage({ key, reading: READER.read(cells, check, criteria, earlier) });
  } catch (fault) {
    self.postMessage({ key });
  }
});
