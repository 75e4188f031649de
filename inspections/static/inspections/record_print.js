// The print at the pump: a cell turns at a tap, and every tap is kept as it is made: on the server as a draft, without
// network in the queue of this device. Leaving the round makes it one entry. Without this file each tap is a post.
import * as unsent from "../fleet/unsent_queue.js";

function follow(print) {
  const MARKS = ".+#", WORDS = ["none", "light", "heavy"];
  const field = (name) => print.querySelector(`[name=${name}]`);
  const cells = field("cells"), taps = field("taps"), counted = () => Number(taps.value);
  const across = Number((print.querySelector("[data-across]") || { dataset: {} }).dataset.across || 7);
  let kept = counted(), sending = null, waits = null;

  async function onDevice() {
    const fields = {};
    for (const [name, value] of new FormData(print)) {
      if (!["offline", "csrfmiddlewaretoken", "id", "scrape_id"].includes(name)) fields[name] = String(value);
    }
    waits = waits ? await unsent.instead(waits, fields) : await unsent.add({ ...JSON.parse(field("offline").value), fields });
  }

  async function post() {
    const body = new FormData(print);
    body.set("draft", "yes");
    const answer = await fetch(window.location.href, { method: "POST", body, credentials: "same-origin", keepalive: true });
    if (!answer.ok || answer.redirected) throw new Error(`answered ${answer.status}`);
    return answer.json();
  }

  // One post at a time, each with all that was tapped by then.
  async function send() {
    while (kept < counted()) {
      const now = counted();
      try {
        const said = await post();
        if (now === counted()) say(said);
        if (waits) { await unsent.drop("queue", waits.id); waits = null; await unsent.count(); }
      } catch (fault) {
        say(null);
        await onDevice().catch(() => { print.querySelector("[data-lines]").textContent = "This device has no room left: write the print down."; });
      }
      kept = now;
    }
  }
  const keep = () => { sending = sending || send().finally(() => { sending = null; }); };

  // The verdict of the cells as they are now; without an answer none stands beside them.
  function say(said) {
    const note = print.querySelector("[data-outcome]"), outcome = said ? said.outcome : "";
    note.querySelector("[data-headline]").textContent = said ? said.headline : "Kept on this device.";
    const lines = said ? said.lines : [["", "The print is read when it is sent. Until then neither close up nor scrape on it."]];
    print.querySelector("[data-lines]").replaceChildren(...lines.map(([label, sentence]) => {
      const line = document.createElement("p"), before = document.createElement("span");
      before.className = "quiet";
      before.textContent = label ? `${label}. ` : "";
      line.append(before, sentence);
      return line;
    }));
    if (said) print.querySelector("[data-criteria]").textContent = said.criteria;
    note.dataset.outcome = outcome;
    note.classList.toggle("note-limit", Boolean(outcome) && outcome !== "acceptable");
    const leave = print.querySelector("[data-leave]");
    leave.textContent = outcome === "acceptable" ? "Accept this contact" : "Leave it at this";
    leave.classList.toggle("button-main", outcome === "acceptable");
    // Without an answer nobody knows whether to scrape: the step is not offered, the fact behind its reason is.
    const step = print.querySelector("[value=scraped]"), anyway = document.querySelector("[data-scraped-anyway]");
    if (step) step.hidden = !(said && said.may_scrape);
    if (anyway) anyway.hidden = Boolean(said && said.may_scrape);
    for (const one of print.querySelectorAll("[data-main-for]")) one.classList.toggle("button-main", one.dataset.mainFor.split(" ").includes(outcome));
  }

  function tapped() {
    taps.value = String(counted() + 1);
    print.querySelector("[data-keep]").hidden = false;
    keep();
  }

  print.addEventListener("click", (event) => {
    const cell = event.target.closest(".cell");
    if (!cell) return;
    event.preventDefault();
    const [row, column] = cell.value.split(",").map(Number), lines = cells.value.split("/").map((line) => [...line]);
    const next = (MARKS.indexOf(lines[row][column]) + 1) % 3;
    lines[row][column] = MARKS[next];
    cells.value = lines.map((line) => line.join("")).join("/");
    cell.className = `cell ${WORDS[next]}`;
    cell.setAttribute("aria-label", cell.getAttribute("aria-label").replace(/: \w+$/, `: ${WORDS[next]}`));
    tapped();
  });
  print.addEventListener("change", (event) => {
    const [, row, column] = event.target.name.match(/^cell-(\d+)-(\d+)$/) || [];
    if (row) {
      const lines = cells.value.split("/").map((line) => [...line]);
      lines[row][column] = MARKS[Number(event.target.value)];
      cells.value = lines.map((line) => line.join("")).join("/");
    }
    tapped();
  });
  print.addEventListener("keydown", (event) => {
    if (event.key === "Enter" && event.target.matches("input")) event.preventDefault();  // else the first cell would turn
    const away = { ArrowLeft: -1, ArrowRight: 1, ArrowUp: -across, ArrowDown: across }[event.key];
    const all = [...print.querySelectorAll(".cell")], at = all.indexOf(document.activeElement);
    if (!away || at < 0 || !all[at + away]) return;
    event.preventDefault();
    all[at + away].focus();
  });

  // The line at the top and the other view lead away too: what is still on its way goes first.
  for (const link of document.querySelectorAll("a[href]")) {
    link.addEventListener("click", async (event) => {
      if (!sending || event.defaultPrevented) return;
      event.preventDefault();
      await Promise.race([sending, new Promise((on) => { setTimeout(on, 3000); })]);
      window.location.assign(link.href);
    });
  }
}

const print = document.getElementById("print");
if (print) follow(print);
