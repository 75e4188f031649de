// The screens at the pump: minus and plus, and the verdict while one types. Without this file the plain forms do the
// same with one more turn to the server.
import * as verdict from "./verdict.js";

const field = document.getElementById("id_value");
const held = document.getElementById("verdict-data");
const form = document.getElementById("reading");

function reading() {
  const unit = document.getElementById("id_unit").value;
  const typed = verdict.typed(field.value, unit), off = document.getElementById("id_less");
  const less = off && off.value.trim() ? verdict.typed(off.value, unit) : null;
  if (!typed || (off && off.value.trim() && (!less || less.um === null || typed.um === null))) return null;
  return less ? { ...typed, um: typed.um - less.um } : typed;
}

function judge() {
  const data = JSON.parse(held.textContent), box = document.querySelector("[data-verdict]");
  const now = reading();
  box.hidden = !now;
  if (!now) return;
  const double = document.getElementById("id_basis").value === "radial" ? 2 : 1;
  const method = document.getElementById("id_method").value;
  const ticked = [...form.querySelectorAll("[name=exceptions]:checked")].map((one) => data.exceptions[one.value]);
  const sd = verdict.readingSd(data.sd[method] || 13, now.step * double, ticked);
  const said = verdict.said(now, double, sd, data.held, data.expected);
  box.classList.toggle("note-limit", said.asked || /over|tight/.test(said.word));
  box.querySelector("p").textContent = said.question ? `${said.text} ${said.question}` : said.text;
}

if (form && held) {
  for (const button of form.querySelectorAll("[data-step]")) {
    button.hidden = false;
    button.addEventListener("click", () => {
      const step = button.dataset.step, now = verdict.typed(field.value || field.dataset.from || "0", "um");
      if (!now || now.um === null || now.unit !== "um") return;
      const digits = Math.max((step.split(".")[1] || "").length, now.digits);
      field.value = Math.max(0, now.um + Number(step)).toFixed(digits);
      judge();
    });
  }
  form.addEventListener("input", judge);
  form.addEventListener("change", judge);
  // The card of another method in place of the one shown.
  form.addEventListener("change", () => {
    const method = document.getElementById("id_method").value;
    for (const card of form.querySelectorAll("[data-card]")) card.hidden = card.dataset.card !== method;
  });
  judge();
}

const paper = document.querySelector("[data-print]");
if (paper) {
  paper.hidden = false;
  paper.addEventListener("click", () => window.print());
}
