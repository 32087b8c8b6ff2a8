// Ponds behind blocked crossings, water over the road, streams without a culvert.
const WATER = "#17568f";
const WATER_FILL = "rgba(52,128,196,.45)";
const spots = { x: [], y: [] }; // streams that meet a road where no culvert is listed
let spot = -1; // the one whose card is open
let spotCount = 100;

const roughly = new Intl.NumberFormat("en", { maximumSignificantDigits: 2 });
const columnOf = (name) => data.columns.find((column) => column.name === name);
const valueOf = (name, row) => {
  const column = columnOf(name);
  return column ? column.values[row] : null;
};
const isOver = (row) => valueOf("over_road_depth_m", row) > 0;
// With low chances as well the waves would hide the routes.
const isShownOver = (row) => isOver(row) && data.classes[data.scores.flood.class[row]] !== "low";

function decodeWater() {
  lines.ponds = data.ponds.map((pond) => {
    const rings = pond.rings.map(decode);
    const side = (at, pick) => pick(...rings.map((ring) => ring.box[at]));
    const box = [side(0, Math.min), side(1, Math.min), side(2, Math.max), side(3, Math.max)];
    return { row: pond.row, rings, box };
  });
  if (!data.unlisted.count) return;
  const { line } = decode(data.unlisted.places);
  spots.x = line.filter((_, j) => j % 2 === 0);
  spots.y = line.filter((_, j) => j % 2 === 1);
}

function paintPonds(pen, view) {
  const isWanted = (pond) => pond.row === focus || layerOn("ponds");
  const seen = lines.ponds.filter((pond) => isWanted(pond) && onView(pond.box, view));
  for (const pond of seen) {
    pen.beginPath();
    pond.rings.forEach((ring) => tracePath(pen, ring, view));
    pen.fillStyle = WATER_FILL;
    pen.fill("evenodd");
    pen.lineWidth = pond.row === focus ? 2 : 1;
    pen.strokeStyle = WATER;
    pen.stroke();
  }
  drawn.ponds = seen.length;
}

// Two waves under the sign: a shape, so that it holds without colour.
function paintWaves(pen, x, y, downs = [0, 5]) {
  for (const [colour, width] of [["#fff", 5], [WATER, 2.2]]) {
    pen.lineWidth = width;
    pen.strokeStyle = colour;
    pen.beginPath();
    for (const down of downs) {
      pen.moveTo(x - 9, y + down);
      pen.quadraticCurveTo(x - 6, y + down - 5, x - 3, y + down);
      pen.quadraticCurveTo(x, y + down + 5, x + 3, y + down);
      pen.quadraticCurveTo(x + 6, y + down - 5, x + 9, y + down);
    }
    pen.stroke();
  }
}

function paintOverRoad(pen, view) {
  if (!layerOn("over")) return;
  const wet = drawn.rows.filter(isShownOver);
  const downs = view.zoom < NAMES_FROM_ZOOM ? [-3] : [0, 5]; // one where all is close
  for (const row of wet) {
    const x = places.x[row] * view.scale - view.x;
    const y = places.y[row] * view.scale - view.y;
    paintWaves(pen, x, y + 14, downs);
  }
  drawn.over = wet.length;
}

// Hollow, with a question mark: nothing of the inventory looks like it.
function paintSpot(pen, x, y) {
  pen.beginPath();
  pen.arc(x, y, 8, 0, 7);
  pen.lineWidth = 4.5;
  pen.strokeStyle = "#fff";
  pen.stroke();
  pen.setLineDash([4, 2.3]);
  pen.lineWidth = 2;
  pen.strokeStyle = INK;
  pen.stroke();
  pen.setLineDash([]);
  pen.font = "700 12px system-ui, sans-serif";
  pen.textAlign = "center";
  haloText(pen, "?", x, y + 4.5);
}

function paintSpots(pen, view) {
  if (!layerOn("unlisted")) return;
  for (let j = spots.x.length - 1; j >= 0; j -= 1) {
    const x = spots.x[j] * view.scale - view.x;
    const y = spots.y[j] * view.scale - view.y;
    if (x < 0 || y < 0 || x > view.width || y > view.height) continue;
    paintSpot(pen, x, y);
    drawn.spots += 1;
  }
}

function paintPondSample(pen) {
  pen.beginPath();
  pen.ellipse(12, 12, 10, 6.5, 0, 0, 7);
  pen.fillStyle = WATER_FILL;
  pen.fill();
  pen.lineWidth = 1.4;
  pen.strokeStyle = WATER;
  pen.stroke();
}

function waterSigns() {
  const signs = [];
  const add = (painter, words) =>
    signs.push(piece("li", {}, [picture(painter), words]));
  if (lines.ponds.length && (layerOn("ponds") || focus >= 0)) {
    add(paintPondSample, "full pond behind a blocked crossing");
  }
  const wet = data.ids.filter((_, row) => isShownOver(row)).length;
  if (wet && layerOn("over")) {
    const words = `water over the road today if nothing passes, flood score not low or not known: ${whole.format(wet)}`;
    add((pen) => paintWaves(pen, 12, 10), words);
  }
  if (data.unlisted.count && layerOn("unlisted")) {
    const count = whole.format(data.unlisted.count);
    add((pen) => paintSpot(pen, 12, 12), `stream at a road, no culvert listed, no score: ${count}`);
  }
  return signs;
}

// What the card says of the water of today if nothing passes.
function waterLine() {
  const depth = valueOf("over_road_depth_m", focus);
  if (depth === null) {
    if (valueOf("headwater_limit_m", focus) === null) return ""; // no pipe
    return piece("p", { textContent: "Not known whether water reaches the road today if nothing passes." });
  }
  if (depth <= 0) {
    return piece("p", { textContent: "If nothing passes today, no water reaches the road." });
  }
  const told = (name) => {
    const value = valueOf(name, focus);
    if (value === null) return "";
    const column = columnOf(name);
    return `${roughly.format(value * either(column.times))} ${either(column.units)}`;
  };
  const parts = [`${told("over_road_depth_m")} of water over the road`];
  if (told("over_road_length_m")) parts.push(`on ${told("over_road_length_m")} of it`);
  if (told("closure_s")) parts.push(`shut about ${told("closure_s")}`);
  const homes = valueOf("pond_dwelling_count", focus);
  if (homes > 0) parts.push(`dwellings in the full pond: ${whole.format(homes)}`);
  const washout = textOf(data.advice.washout, focus);
  return piece("p", { className: "water" }, [
    piece("b", { textContent: "If nothing passes today: " }),
    `${parts.join(", ")}.`,
    washout ? " Washout danger: " : "",
    washout ? said(washout) : "",
    washout ? "." : "",
  ]);
}

const spotArea = (j) => valueWords(data.unlisted.catchment, j);
const spotLatLng = (j) => L.CRS.EPSG3857.pointToLatLng(L.point(spots.x[j], spots.y[j]), 0);

function fillSpotCard() {
  const close = piece("button", { type: "button", id: "close", textContent: "Close" });
  close.addEventListener("click", closeCard);
  const at = spotLatLng(spot);
  byId("card").replaceChildren(
    piece("div", { className: "head" }, [
      piece("h2", { textContent: "Stream at a road, no culvert listed" }),
      close,
    ]),
    piece("p", {}, [
      said(textOf(data.unlisted.roads, spot) || "road unknown"),
      piece("br"),
      `${at.lat.toFixed(5)}, ${at.lng.toFixed(5)}`,
    ]),
    piece("p", {}, [
      piece("b", { textContent: "How sure: " }),
      said(textOf(data.unlisted.confidence, spot)),
      ": ",
      said(textOf(data.unlisted.notes, spot)),
      ".",
    ]),
    piece("p", { textContent: `Catchment: ${spotArea(spot)}, less exact than at listed crossings.` }),
    piece("p", {
      textContent:
        "Not a crossing of the inventory: it comes from the elevation data alone and has " +
        "no score and no rank. A pipe here may be frozen too. Look before anything is planned.",
    }),
  );
  return close;
}

function openSpot(j, from) {
  focus = -1;
  spot = j;
  cameFrom = from || null;
  const box = document.querySelector("[name=layer][value=unlisted]");
  if (!box.checked) {
    box.checked = true;
    drawLegend();
  }
  markRow();
  markSpot();
  showCard(fillSpotCard(), spotLatLng(j), Boolean(from));
}

function markSpot() {
  document.querySelectorAll("#spots button").forEach((button, j) => {
    if (j === spot) button.setAttribute("aria-current", "true");
    else button.removeAttribute("aria-current");
  });
}

function spotNear(point) {
  if (!layerOn("unlisted")) return -1;
  return nearest(spots, [...spots.x.keys()], point);
}

function spotButton(j) {
  const button = piece("button", { type: "button", className: "row spot" }, [
    picture((pen) => paintSpot(pen, 12, 12)),
    piece("span", {}, [
      said(textOf(data.unlisted.roads, j) || "road unknown"),
      piece("span", { className: "why" }, [
        said(textOf(data.unlisted.confidence, j)),
        `, catchment ${spotArea(j)}`,
      ]),
    ]),
  ]);
  button.tabIndex = j === 0 ? 0 : -1;
  button.addEventListener("click", () => openSpot(j, button));
  return button;
}

function drawSpots() {
  const { count } = data.unlisted;
  byId("tab-unlisted").hidden = !count;
  if (!count) return;
  const shown = [...Array(Math.min(count, spotCount)).keys()];
  const list = piece("ol", { id: "spots" }, shown.map((j) => piece("li", {}, [spotButton(j)])));
  list.addEventListener("keydown", (event) =>
    moveInList(event, [...list.querySelectorAll("button")]),
  );
  const more = piece("button", { type: "button", textContent: "Show 100 more" });
  more.addEventListener("click", () => {
    spotCount += PAGE;
    drawSpots();
  });
  const words =
    `${whole.format(count)} places where a stream meets a road and the inventory knows no ` +
    "crossing, largest catchment first. Found from elevation data; nobody has looked. " +
    "They are not scored and not ranked.";
  byId("pane-unlisted").replaceChildren(
    piece("p", { className: "hint", textContent: words }),
    list,
    count > spotCount ? more : "",
  );
  markSpot();
}
