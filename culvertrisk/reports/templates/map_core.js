// Data, units and small page pieces. User text is only ever put into text nodes.
const byId = (id) => document.getElementById(id);
const map = window.map_main;
const hill = window.hill_shade || null;
let data = null;
let units = "metric";
let kind = "loss"; // what the symbols show
let order = []; // crossings, worst first, by what the symbols show
let focus = -1; // the crossing whose card is open

function piece(tag, properties, children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(properties || {})) {
    if (name in element) element[name] = value;
    else element.setAttribute(name, value);
  }
  element.append(...(children || []).filter((child) => child !== ""));
  return element;
}

// Text of a user: kept apart from the words around it, whichever way it is written.
const said = (text) => piece("bdi", { textContent: text });

async function readData() {
  const block = byId("data");
  if (block.type === "application/json") return JSON.parse(block.textContent);
  if (!("DecompressionStream" in window)) {
    throw new Error("This large page needs a browser from 2023 or later.");
  }
  const bytes = Uint8Array.from(atob(block.textContent), (sign) => sign.charCodeAt(0));
  const plain = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("gzip"));
  return JSON.parse(await new Response(plain).text());
}

function remember(key, value) {
  try {
    if (value === undefined) return localStorage.getItem(key);
    localStorage.setItem(key, value);
  } catch (error) {
    return null; // a browser may refuse storage to a local file
  }
  return value;
}

const digits = new Intl.NumberFormat("en", { maximumSignificantDigits: 3 });
const whole = new Intl.NumberFormat("en", { maximumFractionDigits: 0 });
const LEAST_PERCENT = 0.1; // less is not told: no input is that exact
const FOOT_M = 0.3048;
const isUs = () => units === "us";
const either = (amount) => amount[isUs() ? 1 : 0];

function valueWords(column, row) {
  if (column.words) return textOf(column, row) || "–";
  const value = column.values[row];
  if (column.isClock) return value === null ? "not today, or unknown" : clockWords(value);
  if (value === null) return "unknown";
  if (column.yesNo) return value === 1 ? "yes" : "no";
  const number = value * either(column.times);
  const unit = either(column.units);
  if (unit === "%" && number > 0 && number < LEAST_PERCENT) return `under ${LEAST_PERCENT} %`;
  const shown = digits.format(number);
  return unit ? `${shown} ${unit}` : shown;
}

function clockWords(seconds) {
  const minutes = Math.round(seconds / 60);
  const two = (number) => String(number).padStart(2, "0");
  return `${two(Math.floor(minutes / 60))}:${two(minutes % 60)}`;
}

function scoreWords(name, row) {
  const value = data.scores[name].score[row];
  if (value === null) return "–";
  if (name !== "loss") return whole.format(value);
  return value < 1 ? "under 1" : digits.format(value);
}

const crossingCount = (number) =>
  `${whole.format(number)} ${number === 1 ? "crossing" : "crossings"}`;

// Sentences with a quantity come twice, in US units only where that differs.
const wordsAt = (column, place) =>
  (isUs() && column.us && column.us[place]) || column.words[place] || "";
const textOf = (column, row) => wordsAt(column, column.codes[row]);
const listOf = (column, row) => column.codes[row].map((place) => wordsAt(column, place));
const classOf = (row) => data.scores[kind].class[row];
const classWords = (name, row) => data.classWords[name][data.scores[name].class[row]];

// Places come as differences of whole 1e-5 degrees; they are kept as pixels at zoom 0.
const DEGREE = 1e-5;
function pixel(x, y) {
  return L.CRS.EPSG3857.latLngToPoint(L.latLng(y * DEGREE, x * DEGREE), 0);
}

function decode(steps) {
  const line = new Float64Array(steps.length);
  const box = [Infinity, Infinity, -Infinity, -Infinity];
  let x = 0;
  let y = 0;
  for (let j = 0; j < steps.length; j += 2) {
    x += steps[j];
    y += steps[j + 1];
    const point = pixel(x, y);
    line[j] = point.x;
    line[j + 1] = point.y;
    box[0] = Math.min(box[0], point.x);
    box[1] = Math.min(box[1], point.y);
    box[2] = Math.max(box[2], point.x);
    box[3] = Math.max(box[3], point.y);
  }
  return { line, box };
}

const places = { x: [], y: [] };
function decodePlaces() {
  const unplaced = new Set(data.unplaced);
  const count = data.ids.length;
  const packed = decode(data.places).line;
  places.x = new Float64Array(count).fill(NaN);
  places.y = new Float64Array(count).fill(NaN);
  for (let row = 0, j = 0; row < count; row += 1) {
    if (unplaced.has(row)) continue;
    places.x[row] = packed[j];
    places.y[row] = packed[j + 1];
    j += 2;
  }
}

const isPlaced = (row) => !Number.isNaN(places.x[row]);
const latLng = (row) =>
  L.CRS.EPSG3857.pointToLatLng(L.point(places.x[row], places.y[row]), 0);

function sortRows() {
  const score = data.scores[kind].score;
  const worth = (row) => (score[row] === null ? -Infinity : score[row]);
  order = data.ids.map((_, row) => row);
  // Rows come in the plan's own order; it stays where scores are equal.
  if (kind !== "loss") order.sort((a, b) => worth(b) - worth(a) || a - b);
}

function tell(words) {
  byId("say").textContent = words;
}
