// Road names and stop numbers, put where nothing else stands.
const PLATE_HEIGHT = 18;
const PLATE_FONT = "700 13px system-ui, sans-serif";
// Right (or left, if negative) of the sign and below it, in pixels; nearest first.
const PLATE_SIDES = [
  [11, -20], [11, 4], [-11, -20], [-11, 4],
  [20, -42], [-20, -42], [20, 26], [-20, 26], [30, -64], [-30, -64], [30, 48],
];
const NAMES_FROM_ZOOM = 12;
const NAME_PLACES = [0.5, 0.35, 0.65, 0.2, 0.8];

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

function placesTaken(plates, view) {
  const signs = drawn.rows.map((row) => ({
    x: places.x[row] * view.scale - view.x,
    y: places.y[row] * view.scale - view.y,
    half: 9,
  }));
  const half = (plate) => plate.width / 2;
  return signs.concat(
    plates.map((plate) => ({
      x: plate.x + half(plate),
      y: plate.y + PLATE_HEIGHT / 2,
      half: half(plate) + 2,
    })),
  );
}

// Truck letter and stop number stand beside the sign, on the first free side.
function placePlates(pen, view) {
  const plates = [];
  pen.font = PLATE_FONT;
  data.trucks.forEach((truck, t) => {
    for (const stop of truck.stops) {
      if (stop.row === null || !isPlaced(stop.row)) continue;
      const text = `${letter(t)}${stop.number}`;
      const width = pen.measureText(text).width + 8;
      const at = [
        places.x[stop.row] * view.scale - view.x,
        places.y[stop.row] * view.scale - view.y,
      ];
      const sides = PLATE_SIDES.map(([right, down]) => ({
        x: at[0] + (right > 0 ? right : right - width),
        y: at[1] + down,
        at,
        text,
        width,
      }));
      const isFree = (plate) =>
        plates.every(
          (other) =>
            Math.abs(other.y - plate.y) > PLATE_HEIGHT ||
            plate.x > other.x + other.width + 1 ||
            other.x > plate.x + plate.width + 1,
        );
      plates.push(sides.find(isFree) || sides[0]);
    }
  });
  return plates;
}

function paintPlates(pen, plates) {
  pen.textAlign = "left";
  pen.font = PLATE_FONT;
  pen.lineWidth = 1.5;
  pen.strokeStyle = ROUTE;
  for (const plate of plates) {
    const middle = [plate.x + plate.width / 2, plate.y + PLATE_HEIGHT / 2];
    pen.beginPath();
    pen.moveTo(...plate.at);
    pen.lineTo(...middle);
    pen.stroke();
  }
  for (const { x, y, width, text } of plates) {
    pen.fillStyle = "#fff";
    pen.fillRect(x, y, width, PLATE_HEIGHT);
    pen.strokeRect(x, y, width, PLATE_HEIGHT);
    pen.fillStyle = "#000";
    pen.fillText(text, x + 4, y + 13.5);
  }
}
