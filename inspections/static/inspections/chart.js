// Puts "Zoom this chart" under each drawing; plotly is fetched only when it is pressed.

const CONFIG = {
  displayModeBar: false,
  showSendToCloud: false,
  plotlyServerURL: "",
  responsive: true,
};

let plotly = null;

function load(src) {
  if (!plotly) {
    plotly = new Promise((done, failed) => {
      const script = document.createElement("script");
      script.src = src;
      script.onload = () => done(window.Plotly);
      script.onerror = () => {
        plotly = null;
        failed(new Error("not loaded"));
      };
      document.head.append(script);
    });
  }
  return plotly;
}

// The figure names its colours as they are on paper; the page may be dark, so each becomes the page's own.
function inPageColours(figure) {
  const palette = (figure.layout.meta || {}).palette || {};
  const style = getComputedStyle(document.documentElement);
  return JSON.parse(JSON.stringify(figure), (key, value) =>
    key !== "palette" && typeof value === "string" && palette[value]
      ? style.getPropertyValue("--" + palette[value]).trim() || value
      : value);
}

// What each button makes of a stretch from `low` to `high`, in shares of its length.
const MOVES = {
  "Closer": [0.25, -0.25],
  "Further": [-0.5, 0.5],
  "Earlier": [-0.5, -0.5],
  "Later": [0.5, 0.5],
};

// A day or moment of the chart as milliseconds; the chart knows no zones, so it is read as UTC.
function asNumber(value) {
  if (typeof value === "number") return value;
  const text = String(value).replace(" ", "T").replace(/Z$/, "");
  return Date.parse(text.includes("T") ? `${text}Z` : text);
}

// Buttons that move the stretch of time shown; `area` holds the drawn chart.
function movers(area) {
  const group = document.createElement("div");
  group.className = "actions zoom";
  group.hidden = true;
  group.setAttribute("role", "group");
  group.setAttribute("aria-label", "What the chart shows");
  const add = (name, act) => {
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = name;
    button.addEventListener("click", act);
    group.append(button);
  };
  for (const [name, [left, right]] of Object.entries(MOVES)) {
    add(name, () => {
      const range = area.layout.xaxis.range;
      const [low, high] = range.map(asNumber), length = high - low;
      const moved = [low + left * length, high + right * length];
      window.Plotly.relayout(area, { "xaxis.range": typeof range[0] === "number" ? moved : moved.map((at) => new Date(at).toISOString()) });
    });
  }
  add("All of it", () => window.Plotly.relayout(area, structuredClone(area.whole)));
  return group;
}

function prepare(box) {
  const source = document.getElementById(box.dataset.zoom);
  const drawing = box.querySelector(".drawing");
  if (!source || !drawing) return;
  const button = document.createElement("button");
  button.type = "button";
  button.className = "zoom";
  button.textContent = "Zoom this chart";
  const said = document.createElement("p");
  said.className = "quiet zoom";
  said.setAttribute("role", "status");
  const area = document.createElement("div");
  area.className = "zoomed";
  area.hidden = true;
  area.setAttribute("role", "group");
  area.setAttribute("aria-label", (box.dataset.title || "Chart") + ", to zoom; its data stand in the table");
  const moves = movers(area);
  box.append(area, moves, button, said);

  async function draw() {
    const figure = inPageColours(JSON.parse(source.textContent));
    if (area.clientWidth < 560) {
      figure.layout.margin = { ...figure.layout.margin, l: 40, r: 6 };
      const short = (figure.layout.meta || {}).narrow || [];
      figure.layout.annotations = (figure.layout.annotations || []).map((note, i) => (
        { ...note, text: short[i] || note.text, font: { ...note.font, size: 12 } }));
    }
    await window.Plotly.newPlot(area, figure.data, figure.layout, CONFIG);
    area.whole = { "xaxis.range": [...area.layout.xaxis.range], "yaxis.range": [...area.layout.yaxis.range] };
    area.dataset.ready = "1";
    box.dataset.ready = "1";
  }

  button.addEventListener("click", async () => {
    if (!area.hidden) {
      area.hidden = moves.hidden = true;
      drawing.hidden = false;
      button.textContent = "Zoom this chart";
      said.textContent = "";
      return;
    }
    button.disabled = true;
    said.textContent = "Fetching the zoom…";
    try {
      await load(box.dataset.plotly);
      area.hidden = false;
      drawing.hidden = true;
      await draw();
      moves.hidden = false;
      button.textContent = "Back to the drawing";
      said.textContent = "Drag over a stretch to look closer; double-click to see all of it.";
    } catch {
      area.hidden = moves.hidden = true;
      drawing.hidden = false;
      said.textContent = "The zoom could not be fetched; the drawing and the table hold the same figures.";
    }
    button.disabled = false;
  });
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => { if (!area.hidden) draw(); });
}

document.querySelectorAll("[data-zoom]").forEach(prepare);
