// Reads prints beside the page, so that taps are not held up: the library of prints takes a second or more to make. The
// address contact-reader.js begins it with the table of causes, bars and words.
// Asked {key, cells, check, criteria, earlier}, it answers {key, reading}, or {key} alone where it could not read.
import { contactPrint } from "./contact_outcome.js";

export function begin(table) {
  const reader = contactPrint(table);
  reader.read(Array(5).fill(Array(7).fill(1)));  // makes library and table of the usual grid before the first print comes
  self.addEventListener("message", ({ data }) => {
    const { key, cells, check, criteria, earlier } = data;
    try {
      self.postMessage({ key, reading: reader.read(cells, check, criteria, earlier) });
    } catch (fault) {
      self.postMessage({ key });
    }
  });
}
