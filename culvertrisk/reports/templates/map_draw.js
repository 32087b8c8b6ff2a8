// Everything on the map is painted into one canvas: stacked canvases print opaque.
const INK = "#111";
const ROUTE = "#0b4f8a";
const SIGNS = [
  { shape: "diamond", fill: "#7f2704", size: 8 },
  { shape: "square", fill: "#d95f0e", size: 7 },
  { shape: "triangle", fill: "#fdae6b", size: 6.5 },
  { shape: "circle", fill: "#fff", size: 5 },
  { shape: "cross", fill: "", size: 4 },
];
const DASHES = [[], [12, 6], [3, 5], [14, 4, 3, 4]];
const MOST_SIGNS = 400;
const NAMES_FROM_ZOOM = 12;
const NAME_PLACES = [0.5, 0.35, 0.65, 0.2, 0.8];
const drawn = { rows: [], inView: 0, roads: 0, routes: 0, catchments: 0 };
const lines = { roads: [], catchments: [], routes: [] };
let printing = false;

const layerOn = (name) => document.querySelector(`[name=layer][value=${name}]`).checked;
const stopRows = () => data.trucks.flatMap((truck) => truck.stops.map((stop) => stop.row));
const letter = (t) => data.trucks[t].letter;

function decodeLines() {
  lines.roads = data.roads.lines.map((steps, j) => ({
    ...decode(steps),
    name: textOf(data.roads.names, j),
  }));
  lines.catchments = data.catchments.map((c) => ({ ...decode(c.line), row: c.row }));
  lines.routes = data.trucks.map((truck) => truck.lines.map(decode));
}

function outline(pen, shape, x, y, r) {
  pen.beginPath();
  if (shape === "diamond") {
    pen.moveTo(x, y - r * 1.25);
    pen.lineTo(x + r * 1.25, y);
    pen.lineTo(x, y + r * 1.25);
    pen.lineTo(x - r * 1.25, y);
    pen.closePath();
  } else if (shape === "square") {
    pen.rect(x - r * 0.9, y - r * 0.9, r * 1.8, r * 1.8);
  } else if (shape === "triangle") {
    pen.moveTo(x, y - r * 1.2);
    pen.lineTo(x + r * 1.15, y + r * 0.85);
    pen.lineTo(x - r * 1.15, y + r * 0.85);
    pen.closePath();
  } else if (shape === "cross") {
    pen.moveTo(x - r, y - r);
    pen.lineTo(x + r, y + r);
    pen.moveTo(x + r, y - r);
    pen.lineTo(x - r, y + r);
  } else pen.arc(x, y, r * 0.8, 0, 7);
}

function paintSign(pen, code, x, y, size) {
  const sign = SIGNS[code];
  outline(pen, sign.shape, x, y, size || sign.size);
  pen.lineWidth = 3.5;
  pen.strokeStyle = "#fff";
  pen.stroke();
  pen.fillStyle = sign.fill;
  if (sign.fill) pen.fill();
  pen.lineWidth = sign.fill ? 1.5 : 2;
  pen.strokeStyle = INK;
  pen.stroke();
}

// A small picture of a sign for lists and the legend.
function signPicture(code) {
  const canvas = piece("canvas", { width: 48, height: 48, className: "sign" });
  canvas.setAttribute("aria-hidden", "true");
  const pen = canvas.getContext("2d");
  pen.scale(2, 2);
  paintSign(pen, code, 12, 12, 7);
  return canvas;
}

const onView = (box, view) =>
  box[2] * view.scale >= view.x && box[0] * view.scale <= view.x + view.width &&
  box[3] * view.scale >= view.y && box[1] * view.scale <= view.y + view.height;

function tracePath(pen, shape, view) {
  const { line } = shape;
  let lastX = -Infinity;
  let lastY = -Infinity;
  for (let j = 0; j < line.length; j += 2) {
    const x = line[j] * view.scale - view.x;
    const y = line[j + 1] * view.scale - view.y;
    const isFar = Math.abs(x - lastX) + Math.abs(y - lastY) > 1.5;
    if (j === 0) pen.moveTo(x, y);
    else if (isFar || j === line.length - 2) pen.lineTo(x, y);
    else continue;
    lastX = x;
    lastY = y;
  }
}

function paintLines(pen, shapes, view, strokes) {
  const seen = shapes.filter((shape) => onView(shape.box, view));
  pen.lineJoin = "round";
  for (const [colour, width, dash] of strokes) {
    pen.strokeStyle = colour;
    pen.lineWidth = width;
    pen.setLineDash(dash || []);
    pen.beginPath();
    seen.forEach((shape) => tracePath(pen, shape, view));
    pen.stroke();
  }
  pen.setLineDash([]);
  return seen;
}

function haloText(pen, text, x, y) {
  pen.lineWidth = 3.5;
  pen.strokeStyle = "#fff";
  pen.strokeText(text, x, y);
  pen.fillStyle = INK;
  pen.fillText(text, x, y);
}

// One name a road, on its longest piece in view, where nothing else stands.
function paintRoadNames(pen, seen, view, taken) {
  const longest = new Map();
  for (const road of seen) {
    const known = longest.get(road.name);
    if (road.name && (!known || known.line.length < road.line.length)) {
      longest.set(road.name, road);
    }
  }
  pen.font = "italic 12px system-ui, sans-serif";
  pen.textAlign = "center";
  for (const [name, road] of longest) {
    const half = pen.measureText(name).width / 2;
    for (const part of NAME_PLACES) {
      const [x, y] = along(road.line, part, view);
      const isClear = taken.every(
        (other) => Math.abs(other.y - y) > 18 || Math.abs(other.x - x) > other.half + half,
      );
      if (!isClear) continue;
      taken.push({ x, y, half });
      haloText(pen, name, x, y + 4);
      break;
    }
  }
}

// A place on a line, as far along its corners as the part says.
function along(line, part, view) {
  const at = part * (line.length / 2 - 1);
  const j = 2 * Math.min(Math.floor(at), line.length / 2 - 2);
  const rest = at - j / 2;
  const x = line[j] + rest * (line[j + 2] - line[j]);
  const y = line[j + 1] + rest * (line[j + 3] - line[j + 1]);
  return [x * view.scale - view.x, y * view.scale - view.y];
}

function placesTaken(rows, view) {
  const stops = new Set(stopRows());
  return rows.flatMap((row) => {
    const x = places.x[row] * view.scale - view.x;
    const y = places.y[row] * view.scale - view.y;
    const sign = { x, y, half: 10 };
    return stops.has(row) ? [sign, { x: x + 26, y: y - 12, half: 18 }] : [sign];
  });
}

function paintHill(pen, view) {
  const bounds = hill.getBounds();
  const top = L.CRS.EPSG3857.latLngToPoint(bounds.getNorthWest(), 0);
  const low = L.CRS.EPSG3857.latLngToPoint(bounds.getSouthEast(), 0);
  const [x, y] = [top.x * view.scale - view.x, top.y * view.scale - view.y];
  const [width, height] = [(low.x - top.x) * view.scale, (low.y - top.y) * view.scale];
  pen.drawImage(hill.getElement(), x, y, width, height);
}

// Thin to a grid until few enough signs are left: the worst of each cell stays.
function thin(view) {
  const stops = new Set(stopRows());
  for (let cell = 12; ; cell *= 1.4) {
    const across = Math.ceil(view.width / cell) + 1;
    const used = new Uint8Array(across * (Math.ceil(view.height / cell) + 1));
    const rows = [];
    let inView = 0;
    for (const row of order) {
      const x = places.x[row] * view.scale - view.x;
      const y = places.y[row] * view.scale - view.y;
      if (!(x >= 0 && y >= 0 && x <= view.width && y <= view.height)) continue;
      inView += 1;
      const at = Math.floor(x / cell) + across * Math.floor(y / cell);
      if (used[at] && row !== focus && !stops.has(row)) continue;
      used[at] = 1;
      rows.push(row);
    }
    if (rows.length <= MOST_SIGNS || cell > 90) return { rows, inView };
  }
}

function paintCrossings(pen, view) {
  for (const row of [...drawn.rows].reverse()) {
    const x = places.x[row] * view.scale - view.x;
    const y = places.y[row] * view.scale - view.y;
    paintSign(pen, classOf(row), x, y);
  }
}

function paintFocus(pen, view) {
  if (focus < 0 || !isPlaced(focus)) return;
  const x = places.x[focus] * view.scale - view.x;
  const y = places.y[focus] * view.scale - view.y;
  for (const [colour, width] of [["#fff", 7], ["#000", 3]]) {
    pen.beginPath();
    pen.arc(x, y, 16, 0, 7);
    pen.lineWidth = width;
    pen.strokeStyle = colour;
    pen.stroke();
  }
}

// Truck letter and stop number stand beside the sign, so that both can be read.
function paintStopNumbers(pen, view) {
  pen.font = "700 13px system-ui, sans-serif";
  pen.textAlign = "left";
  data.trucks.forEach((truck, t) => {
    for (const stop of truck.stops) {
      if (stop.row === null || !isPlaced(stop.row)) continue;
      const x = places.x[stop.row] * view.scale - view.x + 11;
      const y = places.y[stop.row] * view.scale - view.y - 20;
      const text = `${letter(t)}${stop.number}`;
      const width = pen.measureText(text).width + 8;
      pen.fillStyle = "#fff";
      pen.fillRect(x, y, width, 18);
      pen.lineWidth = 1.5;
      pen.strokeStyle = ROUTE;
      pen.strokeRect(x, y, width, 18);
      pen.fillStyle = "#000";
      pen.fillText(text, x + 4, y + 13.5);
    }
  });
}

function paintRoutes(pen, view) {
  lines.routes.forEach((route, t) => {
    const dash = DASHES[t % DASHES.length];
    const strokes = [["#fff", 8], [ROUTE, 4, dash]];
    drawn.routes += paintLines(pen, route, view, strokes).length;
  });
}

function paintRoads(pen, view) {
  const isNear = view.zoom >= NAMES_FROM_ZOOM;
  const road = [["#fff", isNear ? 5 : 3], ["#5a6570", isNear ? 2.4 : 1.2]];
  const seen = paintLines(pen, lines.roads, view, road);
  drawn.roads = seen.length;
  return isNear ? seen : [];
}

function paint(pen, view) {
  Object.assign(drawn, { rows: [], inView: 0, roads: 0, routes: 0, catchments: 0 });
  if (layerOn("crossings")) Object.assign(drawn, thin(view));
  if (printing) {
    pen.fillStyle = "#fff";
    pen.fillRect(0, 0, view.width, view.height);
    if (hill && layerOn("hillshade")) paintHill(pen, view);
  }
  if (layerOn("catchments")) {
    const edge = [["#fff", 3.5], ["#2c5f4f", 1.8, [6, 4]]];
    drawn.catchments = paintLines(pen, lines.catchments, view, edge).length;
  }
  const named = layerOn("roads") ? paintRoads(pen, view) : [];
  if (layerOn("route")) paintRoutes(pen, view);
  paintRoadNames(pen, named, view, placesTaken(drawn.rows, view));
  paintCrossings(pen, view);
  paintFocus(pen, view);
  if (layerOn("route")) paintStopNumbers(pen, view);
}
