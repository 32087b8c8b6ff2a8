// The rating curve of a crossing: a small picture and the table below it.
const PLOT = { width: 340, height: 226, left: 46, right: 34, top: 30, bottom: 40 };
const ICE_WORDS =
  "Ice in the section is an engineering assumption: no standard covers it. The road is " +
  "taken as gravel, as high along its low place as the elevation data or a usual grade say.";

function drawing(tag, properties, children) {
  const element = document.createElementNS("http://www.w3.org/2000/svg", tag);
  for (const [name, value] of Object.entries(properties)) element.setAttribute(name, value);
  element.append(...(children || []));
  return element;
}

// Round numbers from 0 up to the greatest, about five of them.
function ticks(most) {
  const rough = most / 4;
  const ten = 10 ** Math.floor(Math.log10(rough));
  const step = ten * [1, 2, 5, 10].find((times) => times * ten >= rough);
  const count = Math.floor(most / step + 1e-9);
  return [...Array(count + 1).keys()].map((j) => Number((j * step).toPrecision(6)));
}

function curvePath(flows, depths, at) {
  const points = flows
    .map((flow, j) => (depths[j] === null ? "" : at(flow, depths[j])))
    .filter(Boolean);
  return points.length ? `M${points.join("L")}` : "";
}

function axis(marks, place, isDown) {
  const { width, height, left, right, top, bottom } = PLOT;
  return marks.map((mark) => {
    const at = place(mark);
    const line = isDown
      ? { x1: left, x2: width - right, y1: at, y2: at }
      : { x1: at, x2: at, y1: top, y2: height - bottom };
    const words = isDown
      ? { x: left - 5, y: at + 4, "text-anchor": "end" }
      : { x: at, y: height - bottom + 15, "text-anchor": "middle" };
    return drawing("g", {}, [
      drawing("line", { ...line, class: "grid" }),
      drawing("text", words, [digits.format(mark)]),
    ]);
  });
}

// Flow of today and of the design storm: upright lines, their names above the plot.
function flowMarks(mostFlow, times, x) {
  const named = [["today", "today_flow_m3s"], ["design", "design_flow_m3s"]];
  const shown = named
    .map(([words, name]) => ({ words, flow: valueOf(name, focus) }))
    .filter((mark) => mark.flow !== null && mark.flow * times <= mostFlow);
  return shown.flatMap(({ words, flow }, j) => {
    const at = x(flow * times);
    const y = PLOT.top - 5 - j * 13;
    const isRight = at > PLOT.width / 2;
    const label = { x: at + (isRight ? -4 : 4), y, "text-anchor": isRight ? "end" : "start" };
    const line = { x1: at, x2: at, y1: y - 8, y2: PLOT.height - PLOT.bottom };
    return [
      drawing("line", { ...line, class: `flow ${words}` }),
      drawing("text", label, [words]),
    ];
  });
}

// How far the methods of the design peak lie apart; null where only one applies.
function designBand() {
  const ends = ["design_flow_low_m3s", "design_flow_high_m3s"].map((name) => valueOf(name, focus));
  return ends.includes(null) ? null : ends;
}

function bandMark(mostFlow, times, x) {
  const band = designBand();
  if (!band) return [];
  const [low, high] = band.map((flow) => x(Math.min(flow * times, mostFlow)));
  const { top, height, bottom } = PLOT;
  const width = Math.max(high - low, 1);
  return [drawing("rect", { x: low, y: top, width, height: height - top - bottom, class: "band" })];
}

function axisTitles(flowUnit, depthUnit) {
  const { width, height, left, right, top, bottom } = PLOT;
  const middle = (top + height - bottom) / 2;
  return [
    drawing("text", { x: (left + width - right) / 2, y: height - 6, "text-anchor": "middle" },
      [`flow, ${flowUnit}`]),
    drawing("text", { x: 12, y: middle, "text-anchor": "middle", transform: `rotate(-90 12 ${middle})` },
      [`water over the inlet bed, ${depthUnit}`]),
  ];
}

function roadLine(limit, most, y) {
  if (limit === null || limit > most) return [];
  const { width, left, right } = PLOT;
  return [
    drawing("line", { x1: left, x2: width - right, y1: y(limit), y2: y(limit), class: "road" }),
    drawing("text", { x: width - right + 4, y: y(limit) + 4 }, ["road"]),
  ];
}

function ratingPicture(curve, flowTimes, depthTimes, words) {
  const { width, height, left, right, top, bottom } = PLOT;
  const flows = curve.flow.map((flow) => flow * flowTimes);
  const scaled = (depths) => depths.map((d) => (d === null ? null : d * depthTimes));
  const [open, iced] = [scaled(curve.open), scaled(curve.iced)];
  const limit = valueOf("headwater_limit_m", focus);
  const road = limit === null ? null : limit * depthTimes;
  const mostFlow = Math.max(...flows);
  const mostDepth = 1.08 * Math.max(...open, ...iced, road || 0);
  const x = (flow) => left + (flow / mostFlow) * (width - left - right);
  const y = (depth) => height - bottom - (depth / mostDepth) * (height - top - bottom);
  const at = (flow, depth) => `${x(flow).toFixed(1)} ${y(depth).toFixed(1)}`;
  return drawing("svg", { viewBox: `0 0 ${width} ${height}`, role: "img", class: "rating", "aria-label": words }, [
    ...bandMark(mostFlow, flowTimes, x),
    ...axis(ticks(mostFlow), x, false),
    ...axis(ticks(mostDepth), y, true),
    ...axisTitles(either(data.ratings.flowUnits), either(data.ratings.depthUnits)),
    ...roadLine(road, mostDepth, y),
    ...flowMarks(mostFlow, flowTimes, x),
    drawing("path", { d: curvePath(flows, iced, at), class: "curve iced" }),
    drawing("path", { d: curvePath(flows, open, at), class: "curve open" }),
  ]);
}

function ratingTable(curve, flowTimes, depthTimes) {
  const flowUnit = either(data.ratings.flowUnits);
  const depthUnit = either(data.ratings.depthUnits);
  const told = (value, times) => (value === null ? "–" : digits.format(value * times));
  const heads = [`flow, ${flowUnit}`, `open, ${depthUnit}`, `with ice, ${depthUnit}`, `over the road with ice, ${depthUnit}`];
  const rows = curve.flow.map((flow, j) =>
    piece("tr", {}, [
      piece("th", { scope: "row", textContent: told(flow, flowTimes) }),
      ...[curve.open, curve.iced, curve.over].map((depths) =>
        piece("td", { textContent: told(depths[j], depthTimes) }),
      ),
    ]),
  );
  return piece("details", {}, [
    piece("summary", { textContent: "Rating curve as a table" }),
    piece("table", { className: "rating-table" }, [
      piece("thead", {}, [piece("tr", {}, heads.map((text) => piece("th", { scope: "col", textContent: text })))]),
      piece("tbody", {}, rows),
    ]),
  ]);
}

function bandWords() {
  const times = either(data.ratings.flowTimes);
  const [low, high] = designBand().map((flow) => digits.format(flow * times));
  return `${low} to ${high} ${either(data.ratings.flowUnits)}`;
}

function ratingKey() {
  const line = (name) =>
    drawing("svg", { viewBox: "0 0 30 8", class: "rating-key", "aria-hidden": "true" }, [
      drawing("path", { d: "M0 4H30", class: `curve ${name}` }),
    ]);
  const band = drawing("svg", { viewBox: "0 0 30 8", class: "rating-key", "aria-hidden": "true" }, [
    drawing("rect", { width: 30, height: 8, class: "band" }),
  ]);
  return piece("p", { className: "hint" }, [
    line("open"),
    " open  ",
    line("iced"),
    " with today's ice",
    ...(designBand() ? [piece("br"), band, ` design peak by the methods that apply: ${bandWords()}`] : []),
  ]);
}

function ratingSection() {
  const curve = data.ratings && data.ratings.curves[focus];
  if (!curve) return "";
  const flowTimes = either(data.ratings.flowTimes);
  const depthTimes = either(data.ratings.depthTimes);
  const words = `Water at the inlet against flow, open and with today's ice, of ${data.ids[focus]}; the numbers are in the table below.`;
  return piece("section", {}, [
    piece("h3", { textContent: "Rating curve" }),
    ratingPicture(curve, flowTimes, depthTimes, words),
    ratingKey(),
    piece("p", { className: "hint", textContent: ICE_WORDS }),
    ratingTable(curve, flowTimes, depthTimes),
  ]);
}
