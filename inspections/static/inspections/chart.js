// Puts "Zoom this chart" under each drawing; plotly is fetched only when it is pressed.
"use strict";

const CONFIG = {
  displaylogo: false,
  showSendToCloud: false,
  plotlyServerURL: "",
  responsive: true,
  modeBarButtonsToRemove: ["select2d", "lasso2d", "autoScale2d"],
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
  box.append(area, button, said);

  async function draw() {
    const figure = inPageColours(JSON.parse(source.textContent));
    if (area.clientWidth < 560) {
      figure.layout.margin = { ...figure.layout.margin, l: 40, r: 6 };
      const short = (figure.layout.meta || {}).narrow || [];
      figure.layout.annotations = (figure.layout.annotations || []).map((note, i) => (
        { ...note, text: short[i] || note.text, font: { ...note.font, size: 12 } }));
    }
    await window.Plotly.newPlot(area, figure.data, figure.layout, CONFIG);
    area.dataset.ready = "1";
    box.dataset.ready = "1";
  }

  button.addEventListener("click", async () => {
    if (!area.hidden) {
      area.hidden = true;
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
      button.textContent = "Back to the drawing";
      said.textContent = "Drag over a stretch to look closer; double-click to see all of it.";
    } catch {
      area.hidden = true;
      drawing.hidden = false;
      said.textContent = "The zoom could not be fetched; the drawing and the table hold the same figures.";
    }
    button.disabled = false;
  });
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => { if (!area.hidden) draw(); });
}

document.querySelectorAll("[data-zoom]").forEach(prepare);
