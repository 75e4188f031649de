// What was taken along to read at an open bearing: what the plant entered of the machine's book, and the cards of how to
// measure that the site's engineer approved.

function element(tag, text, ...inside) {
  const made = document.createElement(tag);
  if (text) made.textContent = text;
  made.append(...inside);
  return made;
}
const all = (tag, lines) => lines.map((line) => element(tag, line));

function folded(summary, ...inside) {
  const box = element("details", "", element("summary", summary), ...inside);
  box.className = "more";
  return box;
}

function by(words, { by: author, on }) {
  const line = element("p", `${words} ${author || "someone not known"}, ${on}.`);
  line.className = "quiet";
  return line;
}

function bookOf(book) {
  const lines = element("ul", "", ...book.lines.map(([what, value]) => element("li", `${what}: `, element("b", value))));
  lines.className = "book";
  return folded("The machine's book", lines, by("Entered by", book));
}

function cardOf(card) {
  const heed = card.heed.map((line) => element("p", "", element("b", "Heed."), ` ${line}`));
  const source = element("p", `${card.source.slice(0, 1).toUpperCase()}${card.source.slice(1)}.`);
  source.className = "quiet";
  return folded(`How to measure: ${card.words}`, element("ol", "", ...all("li", card.steps)), ...heed, source, by("Approved by", card));
}

const fill = (what, ...inside) => document.querySelectorAll(what).forEach((box) => box.replaceChildren(...inside.map((make) => make())));

// On every screen that has room for it; packs of an earlier version of the page hold none.
const book = (bearing) => fill("[data-book]", ...(bearing.book ? [() => bookOf(bearing.book)] : []));
const cards = (kept, method) => fill("[data-cards]", ...((kept || {}).cards || []).filter((card) => card.method === method).map((card) => () => cardOf(card)));
export { book, cards };
