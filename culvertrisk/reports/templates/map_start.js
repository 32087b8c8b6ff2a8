// The canvas layer, the map's switches, and the start of the page.
const Painting = L.Renderer.extend({
  options: { padding: 0.1, pane: "painting" },
  _initContainer() {
    this._container = piece("canvas", { id: "painting" });
    this._container.setAttribute("aria-hidden", "true");
    this._pen = this._container.getContext("2d");
  },
  _destroyContainer() {
    this._container.remove();
  },
  onRemove() {
    this._destroyContainer();
  },
  _update() {
    if (this._map._animatingZoom && this._bounds) return;
    L.Renderer.prototype._update.call(this);
    const size = this._bounds.getSize();
    const corner = this._bounds.min;
    const fineness = printing ? PRINT_FINENESS : window.devicePixelRatio || 1;
    L.DomUtil.setPosition(this._container, corner);
    this._container.width = size.x * fineness;
    this._container.height = size.y * fineness;
    this._container.style.width = `${size.x}px`;
    this._container.style.height = `${size.y}px`;
    this._pen.setTransform(fineness, 0, 0, fineness, 0, 0);
    const origin = this._map.getPixelOrigin();
    const zoom = this._map.getZoom();
    paint(this._pen, {
      x: origin.x + corner.x,
      y: origin.y + corner.y,
      width: size.x,
      height: size.y,
      scale: 2 ** zoom,
      zoom,
    });
    if (!printing) tellView();
  },
  _updatePaths() {},
});
let painting = null;

function redraw() {
  if (painting) painting._update();
}

function tellView() {
  const [shown, all] = [whole.format(drawn.rows.length), crossingCount(drawn.inView)];
  if (!layerOn("crossings")) tell("Crossings are switched off.");
  else if (drawn.rows.length < drawn.inView) {
    tell(`${shown} of ${all} here are drawn, worst first. Zoom in for the rest.`);
  } else tell(`${all} here.`);
}

function bounds(rows) {
  const placed = rows.filter(isPlaced).map(latLng);
  return placed.length ? L.latLngBounds(placed).pad(0.05) : L.latLngBounds([[-60, -170], [70, 170]]);
}

// A single crossing has no extent of its own to fit the map to.
const NEAREST_ZOOM = 16;

function drawLegend() {
  const counts = data.classes.map(() => 0);
  data.scores[kind].class.forEach((code) => (counts[code] += 1));
  const steps = data.lossSteps;
  const ranges = [`${steps[0]} or more`, `${steps[1]} to ${steps[0]}`, `${steps[2]} to ${steps[1]}`, `under ${steps[2]}`, ""];
  const heading = {
    loss: "Loss avoided today, person-hours",
    freeze: data.calibrated ? "Freeze score (fitted to the log)" : "Freeze score (not yet calibrated)",
    flood: "Flood score (reasoned index)",
  }[kind];
  const rows = data.classes.map((word, code) => {
    const range = kind === "loss" && ranges[code] ? `, ${ranges[code]}` : "";
    const told = kind === "loss" ? word : data.classWords[kind][code];
    return piece("li", {}, [
      signPicture(code),
      `${told}${range}: ${whole.format(counts[code])}`,
    ]);
  });
  const extra = data.trucks.map((truck) =>
    piece("li", {}, [piece("b", { className: "plate", textContent: `${truck.letter}1` }), said(truck.crew)]),
  );
  byId("signs").replaceChildren(
    piece("b", { textContent: heading }),
    piece("ul", {}, [...rows, ...waterSigns(), ...extra]),
  );
}

function showKind(name) {
  kind = name;
  sortRows();
  search();
  drawLegend();
  redraw();
}

function drawAsked() {
  byId("day").hidden = either(data.planned) !== ""; // the line below it says the day too
  byId("planned").textContent = either(data.planned);
  byId("made-up").textContent = either(data.madeUp);
  byId("uncalibrated").textContent = data.uncalibrated;
}

function showUnits(name) {
  units = name;
  byId("units").value = name;
  document.body.dataset.units = name;
  drawAsked();
  drawToday();
  drawMissed();
  drawAbout();
  drawList();
  drawSpots();
  if (spot >= 0) fillSpotCard();
  if (focus >= 0) fillCard();
}

function startTabs() {
  const tabs = [...document.querySelectorAll("[role=tab]:not([hidden])")];
  const choose = (tab) => {
    for (const other of tabs) {
      other.setAttribute("aria-selected", String(other === tab));
      other.tabIndex = other === tab ? 0 : -1;
      byId(other.getAttribute("aria-controls")).hidden = other !== tab;
    }
  };
  tabs.forEach((tab) => tab.addEventListener("click", () => choose(tab)));
  byId("tabs").addEventListener("keydown", (event) => {
    const step = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
    if (!step) return;
    const to = tabs[(tabs.indexOf(document.activeElement) + step + tabs.length) % tabs.length];
    choose(to);
    to.focus();
  });
}

// The nearest of some marks within reach of a finger, or -1.
function nearest(marks, rows, point) {
  const origin = map.getPixelOrigin();
  const scale = 2 ** map.getZoom();
  let best = -1;
  let least = 18 ** 2;
  for (const row of rows) {
    const dx = marks.x[row] * scale - origin.x - point.x;
    const dy = marks.y[row] * scale - origin.y - point.y;
    if (dx * dx + dy * dy < least) {
      least = dx * dx + dy * dy;
      best = row;
    }
  }
  return best;
}

function startSwitches() {
  for (const choice of document.querySelectorAll("[name=kind]")) {
    choice.addEventListener("change", () => showKind(choice.value));
  }
  for (const box of document.querySelectorAll("[name=layer]")) {
    box.addEventListener("change", () => {
      if (box.value === "hillshade" && hill) box.checked ? hill.addTo(map) : hill.remove();
      drawLegend();
      redraw();
    });
  }
  const missing = {
    hillshade: !hill,
    roads: !lines.roads.length,
    catchments: !lines.catchments.length,
    ponds: !lines.ponds.length,
    over: !data.ids.some((_, row) => isOver(row)),
    unlisted: !data.unlisted.count,
    route: !data.trucks.length,
  };
  for (const [name, isMissing] of Object.entries(missing)) {
    const box = document.querySelector(`[name=layer][value=${name}]`);
    if (isMissing) box.checked = false;
    box.disabled = isMissing;
  }
  byId("units").addEventListener("change", (event) => {
    remember("culvertrisk:units", event.target.value);
    showUnits(event.target.value);
  });
  document.addEventListener("keydown", (event) => {
    if (event.key === "Escape") closeCard();
  });
  map.on("click", (event) => {
    const row = nearest(places, drawn.rows, event.layerPoint);
    const j = row < 0 ? spotNear(event.layerPoint) : -1;
    if (row >= 0) openCard(row, null);
    else if (j >= 0) openSpot(j, null);
  });
}

function startPosition() {
  let watch = null;
  let mark = null;
  const refusals = {
    1: "Position is blocked for this page. Allow it, or use the GPX file.",
    2: "This device has no position now.",
    3: "No position in time. Try again under open sky.",
  };
  const found = (at) => {
    const here = [at.coords.latitude, at.coords.longitude];
    if (mark) mark.remove();
    else map.setView(here, Math.max(map.getZoom(), 14), { animate: false });
    mark = L.circleMarker(here, { radius: 8, color: "#fff", weight: 3, fillColor: "#000", fillOpacity: 1, interactive: false }).addTo(map);
    const within = isUs() ? `${whole.format(at.coords.accuracy / FOOT_M)} ft` : `${whole.format(at.coords.accuracy)} m`;
    tell(`You are here, within ${within}.`);
  };
  byId("locate").addEventListener("click", () => {
    const isOn = watch !== null;
    byId("locate").setAttribute("aria-pressed", String(!isOn));
    if (isOn) {
      navigator.geolocation.clearWatch(watch);
      if (mark) mark.remove();
      watch = mark = null;
    } else if (!navigator.geolocation) tell(refusals[2]);
    else {
      const options = { enableHighAccuracy: true, timeout: 20000 };
      watch = navigator.geolocation.watchPosition(found, (e) => tell(refusals[e.code]), options);
    }
  });
}

function startMap() {
  map.createPane("painting").style.zIndex = 450;
  map.getPane("painting").style.pointerEvents = "none";
  map.getContainer().setAttribute("role", "application");
  map.getContainer().setAttribute(
    "aria-label",
    "Map. Arrow keys move it, plus and minus zoom. Every crossing is also in the list.",
  );
  L.control.zoom({ position: "bottomleft" }).addTo(map);
  L.control.scale({ position: "bottomleft" }).addTo(map);
  map.invalidateSize({ animate: false });
  const shown = byId("choices").open ? byId("show").offsetWidth : 0; // it covers the map's east
  map.fitBounds(bounds(order), {
    animate: false,
    maxZoom: NEAREST_ZOOM,
    paddingTopLeft: [24, 24],
    paddingBottomRight: [24 + shown, 24],
  });
  painting = new Painting().addTo(map);
}

async function start() {
  data = await readData();
  byId("title").append(said(data.title));
  byId("day").textContent = data.day;
  if (innerWidth < 760) byId("key").open = byId("choices").open = false;
  if (data.scores.loss.score.every((value) => value === null)) {
    kind = "freeze";
    document.querySelector("[name=kind][value=freeze]").checked = true;
  }
  startLog();
  decodePlaces();
  decodeLines();
  decodeWater();
  sortRows();
  drawSpots();
  startSwitches();
  startTabs();
  startList();
  startPosition();
  startPrint();
  drawLegend();
  showUnits(remember("culvertrisk:units") || data.units);
  startMap();
  document.body.dataset.ready = "yes";
}

start().catch((error) => {
  tell(`The map could not start: ${error.message}`);
  throw error;
});
