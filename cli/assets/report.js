"use strict";
// The page without this script is complete but for the map. Nothing here asks a network.

const byId = (id) => document.getElementById(id);
const css = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();
const minus = (text) => text.replace("-", "\u2212");

// ---- tables: sort, filter, all digits, to the map ------------------------------------------

function setUpTables(goTo) {
  for (const tools of document.querySelectorAll(".tools")) {
    const table = byId(tools.dataset.for);
    const body = table.tBodies[0];
    const rows = [...body.rows];
    tools.hidden = false;
    const filter = tools.querySelector(".filter");
    const verdict = tools.querySelector(".by-verdict");
    const digits = tools.querySelector(".digits");
    const count = tools.querySelector(".count");
    const apply = () => {
      const words = filter.value.trim().toLowerCase().split(/\s+/);
      let shown = 0;
      for (const row of rows) {
        const text = row.textContent.toLowerCase();
        const word = verdict && verdict.value;
        const cells = word ? [...row.cells].map((cell) => cell.textContent) : [];
        row.hidden = !words.every((w) => text.includes(w)) || Boolean(word && !cells.includes(word));
        if (!row.hidden) shown += 1;
      }
      count.textContent = shown === rows.length ? `${shown} rows` : `${shown} of ${rows.length} rows`;
    };
    filter.addEventListener("input", apply);
    if (verdict) verdict.addEventListener("change", apply);
    digits.addEventListener("change", () => {
      for (const data of table.querySelectorAll("data")) {
        if (data.dataset.short === undefined) data.dataset.short = data.textContent;
        data.textContent = digits.checked ? data.value : data.dataset.short;
      }
    });
    apply();
    [...table.tHead.rows[0].cells].forEach((head, column) => {
      const button = document.createElement("button");
      button.type = "button";
      const title = head.querySelector("span");
      button.append(title.textContent);
      title.replaceWith(button);
      button.addEventListener("click", () => {
        const down = head.getAttribute("aria-sort") === "ascending";
        for (const other of table.tHead.rows[0].cells) other.removeAttribute("aria-sort");
        head.setAttribute("aria-sort", down ? "descending" : "ascending");
        const key = (row) => {
          const data = row.cells[column].querySelector("data");
          return data ? Number(data.value) : row.cells[column].textContent;
        };
        const numeric = head.classList.contains("n");
        const order = [...rows].sort((a, b) => {
          const [x, y] = [key(a), key(b)];
          // What is empty stands last either way.
          if (x === "" || y === "") return (x === "") - (y === "");
          const way = numeric ? x - y : String(x).localeCompare(String(y), "en", { numeric: true });
          return down ? -way : way;
        });
        body.append(...order);
      });
    });
  }
  if (!goTo) return;
  for (const row of document.querySelectorAll("tr[data-place]")) {
    const head = row.cells[0];
    const button = document.createElement("button");
    button.type = "button";
    button.title = "Show it on the map";
    button.textContent = head.textContent;
    head.replaceChildren(button);
    button.addEventListener("click", () => goTo(row.dataset.place.split(",").map(Number), row.dataset.name));
  }
}

// ---- values: packed by packing.rs ------------------------------------------------------------

const bytesOf = (text) => Uint8Array.from(atob(text), (c) => c.charCodeAt(0));

async function unpack(layer, nx, ny) {
  layer.gaps = false;
  const stream = new Blob([bytesOf(layer.values)]).stream().pipeThrough(new DecompressionStream("deflate"));
  const bytes = new Uint8Array(await new Response(stream).arrayBuffer());
  const n = nx * ny;
  const counts = new Uint16Array(n);
  const values = new Float32Array(n);
  for (let j = 0, k = 0; j < ny; j++) {
    for (let i = 0; i < nx; i++, k++) {
      const folded = bytes[k] | (bytes[n + k] << 8);
      const left = i > 0 ? counts[k - 1] : 0;
      const lower = j > 0 ? counts[k - nx] : 0;
      const corner = i > 0 && j > 0 ? counts[k - nx - 1] : 0;
      counts[k] = ((folded >>> 1) ^ -(folded & 1)) + left + lower - corner;
      if (counts[k] === 0) layer.gaps = true;
      values[k] = counts[k] === 0 ? NaN : layer.low + layer.step * (counts[k] - 1);
    }
  }
  return values;
}

// ---- helpers -----------------------------------------------------------------------------------

// The interval of ascending lines that holds a position.
function cellOf(lines, at) {
  let [low, high] = [0, lines.length - 1];
  while (high - low > 1) {
    const middle = (low + high) >> 1;
    if (lines[middle] <= at) low = middle; else high = middle;
  }
  return low;
}

function roundStep(span, most) {
  const power = 10 ** Math.floor(Math.log10(span / most));
  for (const factor of [1, 2, 5, 10]) if (span / (factor * power) <= most) return factor * power;
  return 10 * power;
}

function ticks(low, high, most) {
  if (!(high > low)) return [];
  const step = roundStep(high - low, Math.max(1, most));
  const all = [];
  for (let k = Math.ceil(low / step - 1e-9); k * step <= high + 1e-9 * step; k++) all.push(k * step);
  const decimals = Math.max(0, -Math.floor(Math.log10(step) + 1e-9));
  return all.map((value) => [value, minus(value.toFixed(decimals))]);
}

function told(layer, value, unit = true) {
  if (Number.isNaN(value)) return layer.nothing;
  let text;
  if (layer.decimals !== null) text = value.toFixed(layer.decimals);
  else {
    const power = value === 0 ? 0 : Math.floor(Math.log10(Math.abs(value)));
    text = value.toFixed(Math.min(8, Math.max(0, 2 - power)));
  }
  return minus(text) + (unit && layer.unit ? "\u00a0" + layer.unit : "");
}

// ---- the map -------------------------------------------------------------------------------------

function makeMap(data, values) {
  const chart = byId("chart");
  const pen = chart.getContext("2d");
  const [nx, ny] = [data.x_mm.length - 1, data.y_mm.length - 1];
  const [width, height] = data.size_mm;
  const centre = (lines) => Float64Array.from({ length: lines.length - 1 }, (_, k) => (lines[k] + lines[k + 1]) / 2);
  const [xc, yc] = [centre(data.x_mm), centre(data.y_mm)];
  const colours = new Map(data.colours.map((c) => [c.name, bytesOf(c.table)]));
  const unpacked = new Map(values);
  const lines = new Map();
  const on = (id) => Boolean(byId(id) && byId(id).checked);
  const margin = { left: 46, right: 12, top: 10, bottom: 34 };
  const state = { layer: data.layers.find((l) => l.id === byId("layer").value) || data.layers[0], zoom: 1, x: width / 2, y: height / 2, mark: null, hover: null, section: null, drawing: false, sharp: 1 };
  const hottest = data.spots.find((s) => s.hottest);

  // Which die covers a cell: no isotherm crosses from die to substrate.
  const region = new Uint16Array(nx * ny);
  data.parts.forEach((part, index) => {
    if (part.heater) return;
    const [x0, y0, x1, y1] = part.rect_mm;
    for (let j = 0; j < ny; j++) {
      if (yc[j] < y0 || yc[j] > y1) continue;
      for (let i = 0; i < nx; i++) if (xc[i] >= x0 && xc[i] <= x1) region[j * nx + i] = index + 1;
    }
  });

  const frame = () => {
    const w = chart.clientWidth - margin.left - margin.right;
    const h = chart.clientHeight - margin.top - margin.bottom;
    const scale = Math.min(w / width, h / height) * state.zoom;
    return { w, h, scale, cx: margin.left + w / 2, cy: margin.top + h / 2 };
  };
  const toScreen = (f, x, y) => [f.cx + (x - state.x) * f.scale, f.cy - (y - state.y) * f.scale];
  const toModule = (f, px, py) => [state.x + (px - f.cx) / f.scale, state.y - (py - f.cy) / f.scale];
  const inside = ([x, y]) => x >= 0 && x <= width && y >= 0 && y <= height;

  function keepInside() {
    const f = frame();
    const clamp = (v, room, size) => {
      const half = room / f.scale / 2;
      return half >= size / 2 ? size / 2 : Math.min(size - half, Math.max(half, v));
    };
    state.x = clamp(state.x, f.w, width);
    state.y = clamp(state.y, f.h, height);
    chart.style.touchAction = state.zoom > 1 || state.drawing ? "none" : "pan-y";
  }

  function fit() {
    const room = chart.parentElement.clientWidth;
    const inner = room - margin.left - margin.right;
    const most = Math.max(260, Math.min(760, 0.8 * window.innerHeight));
    chart.style.height = `${Math.round(Math.min(most, (inner * height) / width) + margin.top + margin.bottom)}px`;
    draw();
  }

  function table() {
    const bytes = colours.get(byId("colours").value);
    const packed = new Uint32Array(257);
    for (let k = 0; k < 256; k++) {
      // A reversed scale leaves out the darkest fifth: black would hide all that is well off.
      const e = 3 * (state.layer.reversed ? Math.round(255 - 0.8 * k) : k);
      packed[k] = (255 << 24) | (bytes[e + 2] << 16) | (bytes[e + 1] << 8) | bytes[e];
    }
    return packed;
  }
  const NOTHING = 0xffe6e2e2;
  const ALARM = 0xffd6d600;

  function paint(f, ratio) {
    const layer = state.layer;
    const cells = unpacked.get(layer.id);
    const [left, top] = toScreen(f, 0, height);
    const [right, bottom] = toScreen(f, width, 0);
    const x0 = Math.round(Math.max(left, margin.left) * ratio);
    const x1 = Math.round(Math.min(right, margin.left + f.w) * ratio);
    const y0 = Math.round(Math.max(top, margin.top) * ratio);
    const y1 = Math.round(Math.min(bottom, margin.top + f.h) * ratio);
    if (!cells || x1 <= x0 || y1 <= y0) return;
    const image = pen.createImageData(x1 - x0, y1 - y0);
    const pixels = new Uint32Array(image.data.buffer);
    const look = table();
    const span = layer.show_high - layer.show_low || 1;
    const columns = Int32Array.from({ length: x1 - x0 }, (_, p) => cellOf(data.x_mm, toModule(f, (x0 + p + 0.5) / ratio, 0)[0]));
    for (let q = 0, k = 0; q < y1 - y0; q++) {
      const row = nx * cellOf(data.y_mm, toModule(f, 0, (y0 + q + 0.5) / ratio)[1]);
      for (let p = 0; p < columns.length; p++, k++) {
        const value = cells[row + columns[p]];
        if (value !== value) pixels[k] = NOTHING;
        else if (layer.reversed && value < 1) pixels[k] = ALARM;
        else pixels[k] = look[Math.max(0, Math.min(255, Math.round((255 * (value - layer.show_low)) / span)))];
      }
    }
    pen.putImageData(image, x0, y0);
  }

  function spacing() {
    const asked = Number(byId("spacing").value);
    const span = state.layer.show_high - state.layer.show_low;
    return asked > 0 && span / asked <= 200 ? asked : roundStep(span, 9);
  }

  // Marching squares between the middles of cells.
  function isotherms() {
    const step = spacing();
    const key = `${state.layer.id} ${step}`;
    if (lines.has(key)) return lines.get(key);
    const cells = unpacked.get(state.layer.id);
    const found = new Map();
    const apart = !state.layer.id.startsWith("sheet-");
    for (let j = 0; j + 1 < ny; j++) {
      for (let i = 0; i + 1 < nx; i++) {
        const k = j * nx + i;
        const [a, b, c, d] = [cells[k], cells[k + 1], cells[k + nx + 1], cells[k + nx]];
        const low = Math.min(a, b, c, d);
        const high = Math.max(a, b, c, d);
        // Also where a corner has no value.
        if (!(low < high)) continue;
        if (apart && !(region[k] === region[k + 1] && region[k] === region[k + nx] && region[k] === region[k + nx + 1])) continue;
        for (let n = Math.ceil(low / step); n * step <= high; n++) {
          const level = n * step;
          const cut = [];
          const edge = (p, q, x0, y0, x1, y1) => {
            if ((p < level) !== (q < level)) {
              const s = (level - p) / (q - p);
              cut.push(x0 + s * (x1 - x0), y0 + s * (y1 - y0));
            }
          };
          edge(a, b, xc[i], yc[j], xc[i + 1], yc[j]);
          edge(b, c, xc[i + 1], yc[j], xc[i + 1], yc[j + 1]);
          edge(c, d, xc[i + 1], yc[j + 1], xc[i], yc[j + 1]);
          edge(d, a, xc[i], yc[j + 1], xc[i], yc[j]);
          if (!found.has(n)) found.set(n, []);
          const list = found.get(n);
          for (let e = 0; e + 3 < cut.length; e += 4) list.push(cut[e], cut[e + 1], cut[e + 2], cut[e + 3]);
        }
      }
    }
    const decimals = Math.max(0, -Math.floor(Math.log10(step) + 1e-9));
    const all = [...found].map(([n, list]) => ({ text: minus((n * step).toFixed(decimals)), list }));
    lines.set(key, all);
    return all;
  }

  function drawIsotherms(f) {
    const levels = isotherms();
    for (const { list } of levels) {
      pen.beginPath();
      for (let e = 0; e < list.length; e += 4) {
        pen.moveTo(...toScreen(f, list[e], list[e + 1]));
        pen.lineTo(...toScreen(f, list[e + 2], list[e + 3]));
      }
      pen.strokeStyle = "rgba(10,8,20,.5)";
      pen.lineWidth = 2.2;
      pen.stroke();
      pen.strokeStyle = "rgba(255,255,255,.9)";
      pen.lineWidth = 0.9;
      pen.stroke();
    }
    return levels;
  }

  // Up to three numbers a level, clear of everything else.
  function labelIsotherms(f, levels, taken) {
    const view = { x0: margin.left + 16, x1: margin.left + f.w - 16, y0: margin.top + 10, y1: margin.top + f.h - 10 };
    const labels = [];
    for (const { text, list } of levels) {
      let put = 0;
      for (let e = 0; e < list.length && put < 3; e += 4) {
        const [x, y] = toScreen(f, list[e], list[e + 1]);
        if (x < view.x0 || x > view.x1 || y < view.y0 || y > view.y1) continue;
        const box = [x - 4 - 4 * text.length, y - 9, x + 4 + 4 * text.length, y + 9];
        const clear = (other, gap) => box[0] - gap > other[2] || box[2] + gap < other[0] || box[1] - gap > other[3] || box[3] + gap < other[1];
        const same = (label) => label.text !== text || Math.hypot(label.x - x, label.y - y) > 240;
        if (taken.every((other) => clear(other, 1)) && labels.every((label) => clear(label.box, 8) && same(label))) {
          labels.push({ text, x, y, box });
          put += 1;
        }
      }
    }
    for (const label of labels) write(label.text, label.x, label.y, 11.5, true);
  }

  function write(text, x, y, size, halo, align = "center") {
    pen.font = `${size}px "Noto Sans", "Segoe UI", "DejaVu Sans", sans-serif`;
    pen.textAlign = align;
    pen.textBaseline = "middle";
    if (halo) {
      pen.lineJoin = "round";
      pen.lineWidth = 3.5;
      pen.strokeStyle = "rgba(10,8,20,.85)";
      pen.strokeText(text, x, y);
      pen.fillStyle = "#fff";
    }
    pen.fillText(text, x, y);
  }

  function overlay(f) {
    const taken = [];
    pen.save();
    pen.beginPath();
    pen.rect(margin.left, margin.top, f.w, f.h);
    pen.clip();
    for (const part of data.parts) {
      const [x0, y1] = toScreen(f, part.rect_mm[0], part.rect_mm[1]);
      const [x1, y0] = toScreen(f, part.rect_mm[2], part.rect_mm[3]);
      pen.setLineDash([]);
      pen.strokeStyle = "rgba(10,8,20,.75)";
      pen.lineWidth = 2.6;
      pen.strokeRect(x0, y0, x1 - x0, y1 - y0);
      pen.setLineDash(part.heater ? [5, 4] : []);
      pen.strokeStyle = "#fff";
      pen.lineWidth = 1;
      pen.strokeRect(x0, y0, x1 - x0, y1 - y0);
    }
    pen.setLineDash([]);
    if (on("nozzles")) {
      for (const nozzle of data.nozzles) {
        pen.beginPath();
        for (const [x, y] of nozzle.outline_mm) pen.lineTo(...toScreen(f, x, y));
        pen.closePath();
        const [x, y] = toScreen(f, ...nozzle.at_mm);
        pen.moveTo(x - 4, y);
        pen.lineTo(x + 4, y);
        pen.moveTo(x, y - 4);
        pen.lineTo(x, y + 4);
        pen.strokeStyle = "rgba(10,8,20,.6)";
        pen.lineWidth = 2.6;
        pen.stroke();
        pen.strokeStyle = "rgba(255,255,255,.9)";
        pen.lineWidth = 1;
        pen.stroke();
      }
    }
    const levels = on("isotherms") && !byId("isotherms").disabled ? drawIsotherms(f) : [];
    // Under names and numbers, which keep clear of it where they can.
    const line = [];
    if (state.section) {
      const [a, b] = [toScreen(f, state.section[0], state.section[1]), toScreen(f, state.section[2], state.section[3])];
      for (const [colour, thick] of [["rgba(10,8,20,.85)", 4.5], ["#ffb87a", 2]]) {
        pen.beginPath();
        pen.moveTo(...a);
        pen.lineTo(...b);
        pen.strokeStyle = colour;
        pen.lineWidth = thick;
        pen.setLineDash(thick < 3 ? [9, 5] : []);
        pen.stroke();
      }
      pen.setLineDash([]);
      const steps = Math.max(1, Math.ceil(Math.hypot(b[0] - a[0], b[1] - a[1]) / 6));
      for (let k = 0; k <= steps; k++) {
        const [x, y] = [0, 1].map((i) => a[i] + (k / steps) * (b[i] - a[i]));
        line.push([x - 3, y - 3, x + 3, y + 3]);
      }
    }
    if (on("spots")) {
      for (const spot of data.spots) {
        const [x, y] = toScreen(f, ...spot.at_mm);
        const radius = spot.hottest ? 8 : 4;
        ring(x, y, radius);
        taken.push([x - radius - 2, y - radius - 2, x + radius + 2, y + radius + 2]);
      }
    }
    if (on("names")) names(f, taken, line);
    labelIsotherms(f, levels, taken.concat(line));
    if (state.mark) {
      const [x, y] = toScreen(f, ...state.mark);
      for (const [colour, thick] of [["rgba(10,8,20,.9)", 4], ["#fff", 1.6]]) {
        pen.beginPath();
        for (const [dx, dy] of [[1, 0], [-1, 0], [0, 1], [0, -1]]) {
          pen.moveTo(x + 4 * dx, y + 4 * dy);
          pen.lineTo(x + 15 * dx, y + 15 * dy);
        }
        pen.strokeStyle = colour;
        pen.lineWidth = thick;
        pen.stroke();
      }
    }
    pen.restore();
  }

  function ring(x, y, radius) {
    for (const [colour, thick] of [["rgba(10,8,20,.85)", 4], ["#fff", 1.8]]) {
      pen.beginPath();
      pen.arc(x, y, radius, 0, 2 * Math.PI);
      pen.strokeStyle = colour;
      pen.lineWidth = thick;
      pen.stroke();
    }
  }

  // Names inside their part where they fit, with the temperature under them where both do.
  function names(f, taken, line) {
    const values = new Map(data.spots.map((spot) => [spot.name, spot.told]));
    for (const part of data.parts) {
      const [x0, y1] = toScreen(f, part.rect_mm[0], part.rect_mm[1]);
      const [x1, y0] = toScreen(f, part.rect_mm[2], part.rect_mm[3]);
      pen.font = '13px "Noto Sans", "Segoe UI", "DejaVu Sans", sans-serif';
      const wide = pen.measureText(part.name).width;
      if (wide > x1 - x0 - 6 || y1 - y0 < 17) continue;
      // The visible part of the die, from its upper left corner.
      const left = Math.max(x0, margin.left);
      const top = Math.max(y0, margin.top);
      const free = (box, others) => others.every((o) => box[0] > o[2] || box[2] < o[0] || box[1] > o[3] || box[3] < o[1]);
      const places = [[left + 5 + wide / 2, top + 12], [Math.min(x1, margin.left + f.w) - 5 - wide / 2, top + 12], [left + 5 + wide / 2, Math.min(y1, margin.top + f.h) - 11], [(x0 + x1) / 2, (y0 + y1) / 2]];
      const blocks = places.map(([x, y]) => {
        const second = values.get(part.name);
        pen.font = '12px "Noto Sans", "Segoe UI", "DejaVu Sans", sans-serif';
        const room = second ? pen.measureText(second).width : 0;
        const both = second && room < x1 - left - 10 && y + 26 < y1 && y < y0 + 30;
        const box = [x - wide / 2 - 3, y - 9, both ? x - wide / 2 + Math.max(wide, room) + 3 : x + wide / 2 + 3, y + (both ? 25 : 9)];
        return { x, y, box, second: both ? second : "" };
      }).filter(({ x, y, box }) => x + wide / 2 <= x1 && y + 9 <= y1 && box[2] <= x1 + 3 && free(box, taken));
      const block = blocks.find(({ box }) => free(box, line)) ?? blocks[0];
      if (!block) continue;
      write(part.name, block.x - wide / 2, block.y, 13, true, "left");
      if (block.second) write(block.second, block.x - wide / 2, block.y + 16, 12, true, "left");
      taken.push(block.box);
    }
  }

  function axes(f) {
    // Paper is light whatever the screen is.
    const ink = state.sharp > 1 ? "#1c2430" : css("--ink");
    pen.fillStyle = ink;
    pen.strokeStyle = ink;
    pen.lineWidth = 1;
    pen.strokeRect(margin.left - 0.5, margin.top - 0.5, f.w + 1, f.h + 1);
    const [x0, y0] = toModule(f, margin.left, margin.top + f.h);
    const [x1, y1] = toModule(f, margin.left + f.w, margin.top);
    pen.beginPath();
    for (const [value, text] of ticks(Math.max(0, x0), Math.min(width, x1), f.w / 75)) {
      const [x] = toScreen(f, value, 0);
      pen.moveTo(x, margin.top + f.h);
      pen.lineTo(x, margin.top + f.h + 5);
      write(text, x, margin.top + f.h + 14, 12.5, false);
    }
    for (const [value, text] of ticks(Math.max(0, y0), Math.min(height, y1), f.h / 50)) {
      const [, y] = toScreen(f, 0, value);
      pen.moveTo(margin.left - 5, y);
      pen.lineTo(margin.left, y);
      write(text, margin.left - 8, y, 12.5, false, "right");
    }
    pen.stroke();
    write("mm", margin.left - 8, margin.top + f.h + 14, 12.5, false, "right");
  }

  let waiting = false;
  function draw() {
    if (waiting) return;
    waiting = true;
    requestAnimationFrame(() => {
      waiting = false;
      drawNow();
    });
  }

  function drawNow() {
    keepInside();
    const ratio = (window.devicePixelRatio || 1) * state.sharp;
    const size = [Math.round(chart.clientWidth * ratio), Math.round(chart.clientHeight * ratio)];
    if (chart.width !== size[0] || chart.height !== size[1]) [chart.width, chart.height] = size;
    const f = frame();
    pen.setTransform(ratio, 0, 0, ratio, 0, 0);
    pen.clearRect(0, 0, chart.clientWidth, chart.clientHeight);
    paint(f, ratio);
    overlay(f);
    axes(f);
  }

  function legend() {
    const layer = state.layer;
    const bar = byId("legend").getContext("2d");
    const image = bar.createImageData(256, 1);
    const look = table();
    const pixels = new Uint32Array(image.data.buffer);
    const span = layer.show_high - layer.show_low;
    for (let k = 0; k < 256; k++) pixels[k] = layer.reversed && layer.show_low + (k / 255) * span < 1 ? ALARM : look[k];
    bar.putImageData(image, 0, 0);
    byId("legend-unit").textContent = layer.unit || "ratio";
    byId("legend-note").textContent = (layer.gaps ? `Grey: ${layer.nothing}.` : "") + (layer.reversed && layer.low < 1 ? " Cyan: beyond critical." : "");
    const open = layer.high > layer.show_high + 1e-9;
    const room = byId("legend-ticks").parentElement.clientWidth;
    byId("legend-ticks").replaceChildren(...ticks(layer.show_low, layer.show_high, room / 70).map(([value, text]) => {
      const span = document.createElement("span");
      span.style.left = `${(100 * (value - layer.show_low)) / (layer.show_high - layer.show_low)}%`;
      span.textContent = (open && value > layer.show_high - 1e-9 ? "≥ " : "") + text;
      return span;
    }));
  }

  // ---- readout ----

  const at = ([x, y]) => nx * cellOf(data.y_mm, y) + cellOf(data.x_mm, x);
  const partAt = ([x, y]) => data.parts.find((p) => !p.heater && x >= p.rect_mm[0] && x <= p.rect_mm[2] && y >= p.rect_mm[1] && y <= p.rect_mm[3])
    || data.parts.find((p) => p.heater && x >= p.rect_mm[0] && x <= p.rect_mm[2] && y >= p.rect_mm[1] && y <= p.rect_mm[3]);

  function readout(speak) {
    const place = state.hover || state.mark;
    const rows = [];
    byId("readout-heading").textContent = state.hover || !state.mark ? "At the pointer" : "At the mark";
    if (place) {
      const cell = at(place);
      const part = partAt(place);
      rows.push(["Position x, y", `${place[0].toFixed(2)}, ${place[1].toFixed(2)}\u00a0mm`]);
      rows.push(["Die", part ? part.name : "none, substrate"]);
      for (const layer of data.layers) {
        const cells = unpacked.get(layer.id);
        if (cells && (layer.always || layer === state.layer)) rows.push([layer.title, told(layer, cells[cell]), layer === state.layer]);
      }
      const spot = part && data.spots.find((s) => s.name === part.name);
      if (spot) rows.push([`${part.name}, hottest`, spot.told.replace(" °C", "\u00a0°C")]);
    } else {
      rows.push(["Position x, y", "\u2013"], ["Die", "\u2013"]);
      for (const layer of data.layers) if (layer.always || layer === state.layer) rows.push([layer.title, "\u2013", layer === state.layer]);
    }
    byId("readout").replaceChildren(...rows.map(([name, value, shown]) => {
      const row = document.createElement("div");
      if (shown) row.className = "shown";
      const [dt, dd] = [document.createElement("dt"), document.createElement("dd")];
      dt.textContent = name;
      dd.textContent = value;
      row.append(dt, dd);
      return row;
    }));
    if (speak && place) byId("spoken").textContent = rows.map(([name, value]) => `${name} ${value}`).join("; ");
    const needle = byId("needle");
    const cells = unpacked.get(state.layer.id);
    const value = place && cells ? cells[at(place)] : NaN;
    needle.style.display = Number.isNaN(value) ? "none" : "block";
    if (!Number.isNaN(value)) {
      const share = (value - state.layer.show_low) / (state.layer.show_high - state.layer.show_low || 1);
      needle.style.left = `calc(${100 * Math.max(0, Math.min(1, share))}% - 1px)`;
    }
  }

  function setMark(place, speak) {
    state.mark = place && [Math.max(0, Math.min(width, place[0])), Math.max(0, Math.min(height, place[1]))];
    const part = state.mark && partAt(state.mark);
    for (const row of document.querySelectorAll("#table-junctions tbody tr")) row.classList.toggle("at", Boolean(part) && row.dataset.name === part.name);
    readout(speak);
    draw();
  }

  function zoomBy(factor, around) {
    const f = frame();
    const [x, y] = around || [f.cx, f.cy];
    const fixed = toModule(f, x, y);
    state.zoom = Math.max(1, Math.min(400, state.zoom * factor));
    const g = frame();
    state.x = fixed[0] - (x - g.cx) / g.scale;
    state.y = fixed[1] + (y - g.cy) / g.scale;
    draw();
  }

  function whole() {
    [state.zoom, state.x, state.y] = [1, width / 2, height / 2];
    draw();
  }

  // To a place, as close as the die there can be seen whole.
  function goTo(place, name) {
    const part = data.parts.find((p) => p.name === name) || partAt(place);
    if (part) {
      const [x0, y0, x1, y1] = part.rect_mm;
      state.zoom = 1;
      const f = frame();
      state.zoom = Math.max(1, Math.min(400, 0.75 * Math.min(f.w / (x1 - x0), f.h / (y1 - y0)) / f.scale));
      [state.x, state.y] = [(x0 + x1) / 2, (y0 + y1) / 2];
    } else {
      [state.x, state.y] = place;
    }
    setMark(place, true);
    byId("map").scrollIntoView({ block: "start" });
    chart.focus({ preventScroll: true });
  }

  // ---- section ----

  function showSection() {
    const ends = ["sx0", "sy0", "sx1", "sy1"].map((id) => Number(byId(id).value));
    const clamped = ends.map((v, k) => Math.max(0, Math.min(k % 2 ? height : width, v)));
    state.section = clamped;
    plotSection();
    draw();
  }

  function setSection(ends) {
    ["sx0", "sy0", "sx1", "sy1"].forEach((id, k) => { byId(id).value = String(Number(ends[k].toFixed(3))); });
    showSection();
  }

  // The values of the cells that the line passes, each where it passes their middle.
  function passed() {
    const [x0, y0, x1, y1] = state.section;
    const length = Math.hypot(x1 - x0, y1 - y0);
    const shares = [0, 1];
    const cross = (from, to, all) => {
      if (from === to) return;
      for (const line of all) {
        const share = (line - from) / (to - from);
        if (share > 0 && share < 1) shares.push(share);
      }
    };
    cross(x0, x1, data.x_mm);
    cross(y0, y1, data.y_mm);
    shares.sort((a, b) => a - b);
    const cells = unpacked.get(state.layer.id);
    const points = [];
    for (let k = 0; k + 1 < shares.length; k++) {
      if (shares[k + 1] - shares[k] < 1e-9) continue;
      const share = (shares[k] + shares[k + 1]) / 2;
      const place = [x0 + share * (x1 - x0), y0 + share * (y1 - y0)];
      const part = partAt(place);
      points.push({ along: share * length, from: shares[k] * length, to: shares[k + 1] * length, place, value: cells ? cells[at(place)] : NaN, part: part && !part.heater ? part.name : "" });
    }
    return { points, length };
  }

  function plotSection() {
    const layer = state.layer;
    const { points, length } = passed();
    const known = points.filter((p) => !Number.isNaN(p.value));
    byId("section-heading").textContent = `${layer.title} along a section`;
    const box = { w: 960, h: 300, left: 62, right: 16, top: 26, bottom: 44 };
    const narrow = byId("section").clientWidth < 600;
    if (narrow) [box.w, box.h] = [480, 300];
    let low = Math.min(...known.map((p) => p.value));
    let high = Math.max(...known.map((p) => p.value));
    if (!known.length || !(length > 0)) {
      byId("section").textContent = length > 0 ? "No value along this line." : "The two ends are the same place.";
      byId("section-table").replaceChildren();
      return;
    }
    if (high - low < 1e-6 * Math.abs(high)) [low, high] = [low - 0.5, high + 0.5];
    const pad = 0.06 * (high - low);
    [low, high] = [low - pad, high + pad];
    const X = (v) => box.left + (v / length) * (box.w - box.left - box.right);
    const Y = (v) => box.h - box.bottom - ((v - low) / (high - low)) * (box.h - box.top - box.bottom);
    const parts = [];
    let span = null;
    for (const p of points) {
      if (span && span.name === p.part) span.to = p.to;
      else parts.push(span = { name: p.part, from: p.from, to: p.to });
    }
    const text = (x, y, words, anchor = "middle") => `<text x="${x.toFixed(1)}" y="${y.toFixed(1)}" text-anchor="${anchor}">${words.replace(/[&<>]/g, (c) => `&#${c.charCodeAt(0)};`)}</text>`;
    let svg = "";
    let free = -1e9;
    for (const part of parts.filter((p) => p.name)) {
      svg += `<rect class="span" x="${X(part.from).toFixed(1)}" y="${box.top}" width="${(X(part.to) - X(part.from)).toFixed(1)}" height="${box.h - box.top - box.bottom}"/>`;
      const middle = (X(part.from) + X(part.to)) / 2;
      const half = 4.2 * part.name.length;
      if (middle - half > free) {
        svg += text(middle, box.top - 8, part.name);
        free = middle + half + 4;
      }
    }
    for (const [value, words] of ticks(low, high, 6)) svg += `<path class="grid" d="M${box.left} ${Y(value).toFixed(1)}H${box.w - box.right}"/>` + text(box.left - 8, Y(value) + 4.5, words, "end");
    for (const [value, words] of ticks(0, length, narrow ? 5 : 10)) svg += `<path class="grid" d="M${X(value).toFixed(1)} ${box.h - box.bottom}v5"/>` + text(X(value), box.h - box.bottom + 19, words);
    svg += text((box.left + box.w - box.right) / 2, box.h - 6, "mm along the section") + text(4, box.top - 8, layer.unit, "start");
    let path = "";
    let down = false;
    let last = null;
    for (const p of points) {
      if (Number.isNaN(p.value)) { down = false; continue; }
      // Values jump at the edge of a die; the line does not lean over it.
      if (down && last && last.part !== p.part) path += `H${X(p.from).toFixed(2)}V${Y(p.value).toFixed(2)}`;
      path += `${down ? "L" : "M"}${X(p.along).toFixed(2)} ${Y(p.value).toFixed(2)}`;
      down = true;
      last = p;
    }
    svg += `<path class="curve" d="${path}"/><rect class="frame" x="${box.left}" y="${box.top}" width="${box.w - box.left - box.right}" height="${box.h - box.top - box.bottom}"/><path class="at" id="section-at" d=""/>`;
    const top = known.reduce((a, b) => (b.value > a.value ? b : a));
    const bottom = known.reduce((a, b) => (b.value < a.value ? b : a));
    const words = `${layer.title} from x ${state.section[0]}, y ${state.section[1]} to x ${state.section[2]}, y ${state.section[3]} mm: highest ${told(layer, top.value)} after ${top.along.toFixed(2)} mm, lowest ${told(layer, bottom.value)} after ${bottom.along.toFixed(2)} mm.`;
    byId("section").innerHTML = `<svg viewBox="0 0 ${box.w} ${box.h}" role="img" aria-label="${words.replace(/"/g, "")}">${svg}</svg><p class="small"></p>`;
    byId("section").querySelector("p").textContent = words;
    const plot = byId("section").querySelector("svg");
    plot.addEventListener("pointermove", (event) => {
      const rect = plot.getBoundingClientRect();
      const along = (((event.clientX - rect.left) * box.w / rect.width - box.left) / (box.w - box.left - box.right)) * length;
      if (along < 0 || along > length) return;
      const p = points.find((q) => along <= q.to) || points[points.length - 1];
      byId("section-at").setAttribute("d", `M${X(p.along).toFixed(1)} ${box.top}V${box.h - box.bottom}`);
      setMark(p.place, false);
    });
    const rows = [["along, mm", "x, mm", "y, mm", "die", layer.unit ? `${layer.title}, ${layer.unit}` : layer.title]];
    for (let k = 0; k <= 20; k++) {
      const along = (k / 20) * length;
      const p = points.find((q) => along <= q.to) || points[points.length - 1];
      rows.push([along.toFixed(2), ...[0, 1].map((c) => (state.section[c] + (k / 20) * (state.section[c + 2] - state.section[c])).toFixed(2)), p.part || "substrate", told(layer, p.value, false)]);
    }
    byId("section-table").replaceChildren(...rows.map((row, k) => {
      const tr = document.createElement("tr");
      tr.append(...row.map((words, c) => {
        const cell = document.createElement(k === 0 ? "th" : "td");
        if (k === 0) cell.scope = "col";
        if (c !== 3) cell.className = "n";
        cell.textContent = words;
        return cell;
      }));
      return tr;
    }));
  }

  // ---- what a person does ----

  async function showLayer() {
    state.layer = data.layers.find((l) => l.id === byId("layer").value);
    if (!unpacked.has(state.layer.id)) unpacked.set(state.layer.id, await unpack(state.layer, nx, ny));
    if (byId("isotherms")) {
      byId("isotherms").disabled = state.layer.unit !== "°C";
      byId("spacing").disabled = byId("isotherms").disabled;
      byId("spacing").placeholder = String(Number(roundStep(state.layer.show_high - state.layer.show_low || 1, 9).toPrecision(6)));
    }
    legend();
    readout(false);
    if (state.section) plotSection();
    draw();
  }

  byId("layer").addEventListener("change", showLayer);
  byId("colours").addEventListener("change", () => { legend(); draw(); });
  for (const id of ["isotherms", "spacing", "spots", "names", "nozzles"]) if (byId(id)) byId(id).addEventListener("input", draw);
  byId("closer").addEventListener("click", () => zoomBy(1.6));
  byId("farther").addEventListener("click", () => zoomBy(1 / 1.6));
  byId("whole").addEventListener("click", whole);
  const toHottest = () => hottest && goTo(hottest.at_mm, hottest.name);
  if (byId("hottest")) byId("hottest").addEventListener("click", toHottest);
  for (const id of ["sx0", "sy0", "sx1", "sy1"]) byId(id).addEventListener("change", showSection);
  const around = () => state.mark || (hottest ? hottest.at_mm : [width / 2, height / 2]);
  byId("along-x").addEventListener("click", () => setSection([0, around()[1], width, around()[1]]));
  byId("along-y").addEventListener("click", () => setSection([around()[0], 0, around()[0], height]));
  byId("draw").addEventListener("click", () => {
    state.drawing = !state.drawing;
    byId("draw").setAttribute("aria-pressed", String(state.drawing));
    byId("draw").textContent = state.drawing ? "Now drag on the map" : "Draw it on the map";
    draw();
  });

  const pointers = new Map();
  let start = null;
  const pixel = (event) => {
    const rect = chart.getBoundingClientRect();
    return [event.clientX - rect.left, event.clientY - rect.top];
  };
  const placeOf = (event) => {
    const place = toModule(frame(), ...pixel(event));
    return inside(place) ? place : null;
  };
  chart.addEventListener("pointerdown", (event) => {
    chart.setPointerCapture(event.pointerId);
    pointers.set(event.pointerId, pixel(event));
    start = { pixel: pixel(event), x: state.x, y: state.y, moved: false, place: toModule(frame(), ...pixel(event)) };
  });
  chart.addEventListener("pointermove", (event) => {
    const now = pixel(event);
    if (pointers.size === 2 && pointers.has(event.pointerId)) {
      const other = [...pointers].find(([id]) => id !== event.pointerId)[1];
      const before = pointers.get(event.pointerId);
      const reach = (p) => Math.hypot(p[0] - other[0], p[1] - other[1]) || 1;
      zoomBy(reach(now) / reach(before), [(now[0] + other[0]) / 2, (now[1] + other[1]) / 2]);
      pointers.set(event.pointerId, now);
      if (start) start.moved = true;
      return;
    }
    if (start && pointers.has(event.pointerId)) {
      const [dx, dy] = [now[0] - start.pixel[0], now[1] - start.pixel[1]];
      if (Math.hypot(dx, dy) > 4) start.moved = true;
      if (start.moved && state.drawing) {
        const clamp = (p) => [Math.max(0, Math.min(width, p[0])), Math.max(0, Math.min(height, p[1]))];
        setSection([...clamp(start.place), ...clamp(toModule(frame(), ...now))]);
      } else if (start.moved) {
        const f = frame();
        state.x = start.x - dx / f.scale;
        state.y = start.y + dy / f.scale;
        draw();
      }
    }
    state.hover = placeOf(event);
    readout(false);
  });
  chart.addEventListener("pointerup", (event) => {
    pointers.delete(event.pointerId);
    if (start && !start.moved) setMark(placeOf(event), true);
    else if (start && state.drawing) byId("draw").click();
    start = null;
  });
  chart.addEventListener("pointercancel", (event) => { pointers.delete(event.pointerId); start = null; });
  chart.addEventListener("pointerleave", () => { state.hover = null; readout(false); });
  chart.addEventListener("wheel", (event) => {
    if (!event.ctrlKey && !event.metaKey) return;
    event.preventDefault();
    zoomBy(Math.exp(-event.deltaY / 300), pixel(event));
  }, { passive: false });
  chart.addEventListener("keydown", (event) => {
    const moves = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    if (event.key in moves) {
      const [dx, dy] = moves[event.key];
      const from = state.mark || (hottest ? hottest.at_mm : [width / 2, height / 2]);
      const f = frame();
      let to;
      if (event.shiftKey) {
        const [i, j] = [cellOf(data.x_mm, from[0]) + dx, cellOf(data.y_mm, from[1]) + dy];
        to = [dx ? xc[Math.max(0, Math.min(nx - 1, i))] : from[0], dy ? yc[Math.max(0, Math.min(ny - 1, j))] : from[1]];
      } else {
        to = [from[0] + (dx * 12) / f.scale, from[1] + (dy * 12) / f.scale];
      }
      setMark(to, true);
      const [px, py] = toScreen(f, ...state.mark);
      if (px < margin.left || px > margin.left + f.w || py < margin.top || py > margin.top + f.h) [state.x, state.y] = state.mark;
    } else if (event.key === "+" || event.key === "=") zoomBy(1.6, state.mark ? toScreen(frame(), ...state.mark) : undefined);
    else if (event.key === "-") zoomBy(1 / 1.6);
    else if (event.key === "0") whole();
    else if (event.key === "h") toHottest();
    else if (event.key === "Escape") setMark(null, false);
    else return;
    event.preventDefault();
  });
  new ResizeObserver(() => { fit(); legend(); if (state.section) plotSection(); }).observe(chart.parentElement);
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", draw);
  const details = () => document.querySelectorAll("details.case");
  window.addEventListener("beforeprint", () => {
    state.sharp = 3;
    for (const part of details()) part.open = true;
    drawNow();
  });
  window.addEventListener("afterprint", () => {
    state.sharp = 1;
    for (const part of details()) part.open = false;
    draw();
  });
  fit();
  showLayer();
  setSection([0, around()[1], width, around()[1]]);
  return goTo;
}

async function begin() {
  const source = byId("data");
  let goTo = null;
  if (source && typeof DecompressionStream === "undefined") {
    byId("too-old").hidden = false;
  } else if (source) {
    const data = JSON.parse(source.textContent);
    const [nx, ny] = [data.x_mm.length - 1, data.y_mm.length - 1];
    const always = data.layers.filter((layer) => layer.always);
    const values = await Promise.all(always.map(async (layer) => [layer.id, await unpack(layer, nx, ny)]));
    byId("bench").hidden = false;
    goTo = makeMap(data, values);
  }
  setUpTables(goTo);
  document.documentElement.dataset.ready = "yes";
}

begin();
