// Printing: the map on the first page, then the run sheets.
const PRINT_WIDTH = "184mm";
const PRINT_HEIGHT = "200mm";
const PRINT_FINENESS = 2; // canvas pixels for each page pixel
let viewBefore = null;

function printBounds() {
  const rows = data.trucks.flatMap((truck) => truck.stops.map((stop) => stop.row));
  const wanted = rows.filter((row) => row !== null && isPlaced(row));
  return bounds(wanted.length > 1 ? wanted : order);
}

function beforePrint() {
  if (printing) return;
  viewBefore = { centre: map.getCenter(), zoom: map.getZoom() };
  printing = true;
  byId("key").open = true;
  const box = map.getContainer();
  box.style.width = PRINT_WIDTH;
  box.style.height = PRINT_HEIGHT;
  map.invalidateSize({ animate: false });
  map.fitBounds(printBounds(), { animate: false, padding: [36, 36], maxZoom: NEAREST_ZOOM });
  redraw();
}

function afterPrint() {
  if (!printing) return;
  printing = false;
  const box = map.getContainer();
  box.style.width = "";
  box.style.height = "";
  map.invalidateSize({ animate: false });
  map.setView(viewBefore.centre, viewBefore.zoom, { animate: false });
  redraw();
}

function startPrint() {
  addEventListener("beforeprint", beforePrint);
  addEventListener("afterprint", afterPrint);
  byId("print").addEventListener("click", () => print());
}
