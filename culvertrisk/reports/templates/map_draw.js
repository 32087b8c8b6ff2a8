// Everything on the map is painted into one canvas: stacked canvases print opaque.
const INK = "#111";
const ROUTE = "#0b4f8a";
const SIGNS = [
  { shape: "diamond", fill: "#7f2704", size: 8 },
  { shape: "square", fill: "#d95f0e", size: 7 },
  { shape: "triangle", fill: "#fdae6b", size: 6.5 },
  { shape: "circle", fill: "#fff", size: 4 },
  { shape: "cross", fill: "", size: 3.5 },
];
const LITTLE = 3; // from this class on, signs lie under the route
const DASHES = [[], [12, 6], [3, 5], [14, 4, 3, 4]];
const MOST_SIGNS = 400;
const NOTHING = { rows: [], inView: 0, roads: 0, routes: 0, catchments: 0, ponds: 0, over: 0, spots: 0 };
const drawn = { ...NOTHING };
const lines = { roads: [], catchments: [], routes: [], ponds: [] };
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

// A small picture for lists and the legend, painted round its middle (12, 12).
function picture(painter) {
  const canvas = piece("canvas", { width: 48, height: 48, className: "sign" });
  canvas.setAttribute("aria-hidden", "true");
  const pen = canvas.getContext("2d");
  pen.scale(2, 2);
  painter(pen);
  return canvas;
}

const signPicture = (code) => picture((pen) => paintSign(pen, code, 12, 12, 7));

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

function paintCrossings(pen, view, isWanted) {
  for (const row of [...drawn.rows].reverse()) {
    if (!isWanted(classOf(row))) continue;
    const x = places.x[row] * view.scale - view.x;
    const y = places.y[row] * view.scale - view.y;
    paintSign(pen, classOf(row), x, y);
  }
}

function paintFocus(pen, view) {
  const [from, at] = spot < 0 ? [places, focus] : [spots, spot];
  if (at < 0 || Number.isNaN(from.x[at])) return;
  const x = from.x[at] * view.scale - view.x;
  const y = from.y[at] * view.scale - view.y;
  for (const [colour, width] of [["#fff", 7], ["#000", 3]]) {
    pen.beginPath();
    pen.arc(x, y, 16, 0, 7);
    pen.lineWidth = width;
    pen.strokeStyle = colour;
    pen.stroke();
  }
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
  Object.assign(drawn, NOTHING);
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
  paintPonds(pen, view);
  const named = layerOn("roads") ? paintRoads(pen, view) : [];
  const plates = layerOn("route") ? placePlates(pen, view) : [];
  paintCrossings(pen, view, (code) => code >= LITTLE);
  if (layerOn("route")) paintRoutes(pen, view);
  paintRoadNames(pen, named, view, placesTaken(plates, view));
  paintSpots(pen, view);
  paintCrossings(pen, view, (code) => code < LITTLE);
  paintOverRoad(pen, view);
  paintFocus(pen, view);
  paintPlates(pen, plates);
}
