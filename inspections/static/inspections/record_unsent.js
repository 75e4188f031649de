// What waits on this device: what the site refused first, with its reason; each entry can be mended, sent again or removed.
import * as unsent from "../fleet/unsent_queue.js";
import * as typedValue from "./typed_value.js";
import * as verdict from "./verdict.js";

const find = (what, inside = document) => inside.querySelector(what);

// Why the site would refuse a reading's fields; empty where it would take them.
export function faultOf(fields, quantity) {
  const known = JSON.parse(find("#bounds").textContent)[quantity || "clearance"];
  const { unit, basis, less = "" } = fields;
  return typedValue.fault(String(fields.value), { unit, basis, less, quantity: quantity || "clearance", bounds: known.um, words: known.words });
}

export const queueScreens = (pump) => {
  const KINDS = {
    reading: "Reading", could_not: "Not measured", scrape: "Scraped", work: "Work done", opened: "Opened, nothing measured",
    found: "What was seen", contact: "Contact print", photo: "Photo",
  };
  let rows = [], shown = null, sure = false;

  const value = (one) => (one.fields && one.fields.value ? `${one.fields.value} ${one.fields.unit || ""}`.trim() : "");

  async function words(one) {
    const bearing = await pump.bearingOf(one.bearing), station = bearing && bearing.stations.find((each) => each.key === one.station);
    const at = one.station && one.station !== "any" ? `, ${station ? station.words : one.station}` : "";
    const where = bearing ? `${bearing.pump} ${bearing.position}` : "a bearing not taken along";
    const stage = { as_found: "as found", as_left: "as left" }[one.stage];
    return [`${KINDS[one.kind] || one.kind} ${value(one)}`.trim(), `${where}${["reading", "could_not"].includes(one.kind) && stage ? `, ${stage}${at}` : ""}`];
  }

  async function fill(box, some) {
    box.hidden = !some.length;
    const buttons = [];
    for (const one of some) {
      const button = document.createElement("button"), [what, where] = await words(one);
      button.type = "button";
      button.className = "kept-entry";
      button.append(what, document.createElement("br"), `${where}. ${one.why || one.later || `Entered ${one.entered_at.slice(0, 16).replace("T", " ")} UTC, waits for the network.`}`);
      button.addEventListener("click", () => open(one.id));
      buttons.push(button);
    }
    find("[data-list]", box).replaceChildren(...buttons);
  }

  // What the site refused of the bearing that one stands at.
  const refusedHere = (some) => fill(find("[data-refused-here]"), some.filter((one) => one.why));

  async function waiting(some) {
    rows = some;
    await fill(find("[data-refused]"), rows.filter((one) => one.why));
    await fill(find("[data-waiting]"), rows.filter((one) => !one.why));
    const at = pump.current();
    if (at) await refusedHere(rows.filter((one) => one.bearing === at.id));
  }

  async function open(id) {
    shown = rows.find((one) => one.id === id) || (await unsent.all("queue")).find((one) => one.id === id);
    if (!shown) return;
    const [what, where] = await words(shown), mine = shown.author === unsent.author;
    pump.show("entry", what, `${where}. ${mine ? "It is only on this device so far." : "Entered by somebody else: it waits until they sign in here."}`);
    find("[data-why]").hidden = !(shown.why || shown.later);
    find("[data-why] p").textContent = shown.why || shown.later || "";
    find("[data-mend-fault]").hidden = true;
    await fillBeside(mine);
    find("[data-mend-value]").hidden = shown.kind !== "reading" || !mine;
    find("#entry-value").value = shown.fields ? shown.fields.value || "" : "";
    find("[data-mend-send]").hidden = !mine;
    find("[data-mend-send]").textContent = shown.kind === "reading" ? "Keep this value" : "Send it again";
    find("[data-remove]").hidden = !mine;
    find("[data-remove]").textContent = "Remove from this device";
    sure = false;
  }

  // Beside the value: who measured, the day, and whether it repeats an earlier one, where the site asked about them.
  async function fillBeside(mine) {
    const bearing = await pump.bearingOf(shown.bearing), names = bearing ? await pump.namesAt(bearing.site) : [];
    find("[data-mend-beside]").hidden = !mine || !(shown.why || shown.later);
    find("#entry-who").replaceChildren(new Option("as entered", ""), new Option("me, as signed in", unsent.author), ...names.map((one) => new Option(one.name, one.id)));
    find("#entry-checked").replaceChildren(new Option("as entered", ""), new Option("nobody", "nobody"), ...names.map((one) => new Option(one.name, one.id)));
    find("#entry-day").value = shown.on || "";
    find("[data-mend-first]").hidden = !shown.again;
    find("#entry-first").checked = false;
  }

  function beside() {
    const said = {}, who = find("#entry-who").value, checked = find("#entry-checked").value, day = find("#entry-day").value;
    if (who) Object.assign(said, { measured_by: who, measured_by_name: "" });
    if (checked) said.checked_by = checked === "nobody" ? "" : checked;
    if (day) said.on = day;
    if (shown.again && find("#entry-first").checked) said.again = "";
    return said;
  }

  // What the device remembers of the visit follows, so that a removed reading is asked for again.
  async function remember(change, field = "entry") {
    const state = await pump.kept(shown.bearing);
    const key = state && Object.keys(state.done).find((one) => state.done[one][field] === shown.id);
    if (!key) return;
    change(state.done, key);
    await unsent.put("kept", state);
  }

  const back = () => {
    const bearing = shown && shown.bearing;
    return pump.current() && bearing === pump.current().id ? pump.open(bearing) : pump.list();
  };

  find("[data-mend-entry]").addEventListener("submit", async (event) => {
    event.preventDefault();
    const typed = find("#entry-value").value.trim(), fields = shown.kind === "reading" && typed ? { value: typed } : {};
    const fault = fields.value ? faultOf({ ...shown.fields, ...fields }, shown.quantity) : "";
    find("[data-mend-fault]").hidden = !fault;
    find("[data-mend-fault] p").textContent = fault;
    if (fault) return;
    await unsent.mend(shown, fields, beside());
    if (fields.value) {
      const um = verdict.typed(typed, shown.fields.unit);
      await remember((done, key) => Object.assign(done[key], { shown: `${typed} ${shown.fields.unit}`, um: um && um.um, said: "Mended on the device.", mended: { ...shown.fields, value: typed } }));
    }
    await back();
    unsent.send();
  });
  find("[data-remove]").addEventListener("click", async () => {
    if (!sure) {
      sure = true;
      find("[data-remove]").textContent = "Tap again to remove it for good";
      return;
    }
    // A second measurement of what is removed here becomes the first one.
    for (const one of await unsent.all("queue")) if (one.again === shown.id) await unsent.mend(one, {}, { again: "" });
    await unsent.drop("queue", shown.id);
    await remember((done, key) => delete done[key]);
    await remember((done, key) => { done[key].again = ""; }, "again");
    await unsent.count();
    await back();
  });
  find("[data-send]").addEventListener("click", () => unsent.send());
  document.addEventListener("unsent", (event) => waiting(event.detail));
  unsent.count();
  return { open, refusedHere };
};
