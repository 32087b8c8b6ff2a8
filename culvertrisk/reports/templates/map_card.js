// The card of one crossing: scores, the columns they came from, shares, reasons.
const ROOMY = 1500; // narrower than this, the open card leaves no room for panels
let cameFrom = null; // what gets the focus back when the card is closed

const SHARE_WORDS = {
  shading: "shading",
  slope: "slope and outlet",
  size: "pipe size",
  history: "thaws in the log",
  water: "seeps and silt",
  weather: "this winter's weather",
};

function scoreLine(name, label) {
  const code = data.scores[name].class[focus];
  const value = scoreWords(name, focus);
  const hours = ["1", "under 1"].includes(value) ? " person-hour" : " person-hours";
  const unit = { freeze: " of 100", flood: " of 100", loss: hours }[name];
  return piece("div", { className: "score-line" }, [
    signPicture(code),
    piece("span", {}, [
      piece("b", { textContent: `${label}: ${value}${value === "–" ? "" : unit}` }),
      piece("span", { textContent: classWords(name, focus) }),
    ]),
  ]);
}

function shareBar(name, value, most) {
  const bar = piece("span", { className: value < 0 ? "bar less" : "bar" });
  bar.setAttribute("aria-hidden", "true");
  bar.style.setProperty("--part", `${(Math.abs(value) / most) * 50}%`);
  const sign = value > 0 ? "+" : value < 0 ? "−" : "";
  return piece("div", { className: "share" }, [
    piece("span", { textContent: SHARE_WORDS[name] }),
    bar,
    piece("b", { textContent: sign + whole.format(Math.abs(value)) }),
  ]);
}

function shares() {
  const known = Object.entries(data.shares).filter((item) => item[1][focus] !== null);
  if (!known.length) return "";
  const most = Math.max(1, ...known.map((item) => Math.abs(item[1][focus])));
  return piece("section", {}, [
    piece("h3", { textContent: "What makes the freeze score" }),
    piece("p", {
      className: "hint",
      textContent: "Points above (+) or below (−) this town's middle crossing.",
    }),
    ...known.map((item) => shareBar(item[0], item[1][focus], most)),
  ]);
}

function sentenceList(heading, sentences, empty) {
  if (!sentences.length && !empty) return "";
  const items = sentences.map((text) => piece("li", {}, [said(text)]));
  return piece("section", {}, [
    piece("h3", { textContent: heading }),
    items.length ? piece("ul", {}, items) : piece("p", { textContent: empty }),
  ]);
}

function columnTable(name, heading) {
  const columns = data.columns.filter((column) => column.score === name);
  if (!columns.length) return "";
  const rows = columns.map((column) =>
    piece("tr", {}, [
      piece("th", { scope: "row" }, [
        column.label,
        piece("small", {
          textContent: `${column.name}${column.name ? ", " : ""}from ${column.from}`,
        }),
      ]),
      piece("td", {
        className: column.words ? "told" : "",
        textContent: valueWords(column, focus),
      }),
    ]),
  );
  return piece("details", {}, [
    piece("summary", { textContent: heading }),
    piece("table", {}, [piece("tbody", {}, rows)]),
  ]);
}

function adviceLines() {
  const told = (name) => textOf(data.advice[name], focus);
  const then = told("next") ? `; next, ${told("next")}` : "";
  const lines = [
    ["Ice: ", told("cause") ? `${told("cause")}${then}.` : ""],
    [told("cause").startsWith("most likely") ? "Cure, if so: " : "Cure: ", told("cure") ? `${told("cure")}.` : ""],
    ["", told("closes")],
    ["", told("opens")],
  ].filter((line) => line[1]);
  const [low, high] = [valueOf("rank_low", focus), valueOf("rank_high", focus)];
  if (told("band") && data.ranks[focus] !== null) {
    const span = low !== null && high > low ? ` (${low} to ${high} as the unknowns fall)` : "";
    lines.push(["Rank: ", `${data.ranks[focus]}${span}, ${told("band")}.`]);
  }
  return lines.map(([label, text]) =>
    piece("p", {}, [piece("b", { textContent: label }), said(text)]),
  );
}

function limitsSection() {
  const limits = listOf(data.advice.limits, focus);
  if (!limits.length) return "";
  return piece("details", {}, [
    piece("summary", { textContent: "Limits of these numbers" }),
    piece("ul", {}, limits.map((text) => piece("li", {}, [said(text)]))),
  ]);
}

function ownerLine() {
  const words = textOf(data.advice.owner, focus);
  return words ? piece("p", {}, [piece("b", {}, [said(words)])]) : "";
}

function dangerLine() {
  const words = textOf(either(data.advice.danger), focus);
  return words ? piece("p", { className: "problem" }, [
    piece("b", { textContent: "Danger for the crew. " }),
    said(words),
  ]) : "";
}

function placeWords() {
  if (!isPlaced(focus)) return "No place on the map is known for it.";
  const at = latLng(focus);
  return `${at.lat.toFixed(5)}, ${at.lng.toFixed(5)}`;
}

function stopWords() {
  for (const [t, truck] of data.trucks.entries()) {
    const stop = truck.stops.find((item) => item.row === focus);
    if (!stop) continue;
    const when = `stop ${letter(t)}${stop.number}, ${stop.start} to ${stop.end}`;
    return piece("p", { className: "today" }, ["Today: ", said(truck.crew), `, ${when}.`]);
  }
  const missed = data.missed.find((item) => item.row === focus);
  if (!missed) return "";
  return piece("p", { className: "today" }, [
    "Not reached today. Do instead: ",
    said(either(missed.instead)),
  ]);
}

function fillCard() {
  const close = piece("button", { type: "button", id: "close", textContent: "Close" });
  close.addEventListener("click", closeCard);
  const road = textOf(data.roadNames, focus);
  const owner = textOf(data.owners, focus);
  const note = textOf(data.notes, focus);
  const logged = textOf(data.logged, focus);
  const away = textOf(data.cutOff, focus);
  byId("card").replaceChildren(
    piece("div", { className: "head" }, [
      piece("h2", {}, [said(data.ids[focus])]),
      close,
    ]),
    piece("p", {}, [
      road ? said(road) : "road unknown",
      owner ? ", owner " : "",
      owner ? said(owner) : "",
      piece("br"),
      placeWords(),
    ]),
    ownerLine(),
    stopWords(),
    note ? piece("p", {}, ["Note: ", said(note)]) : "",
    logged ? piece("p", {}, [said(logged)]) : "",
    scoreLine("freeze", "Freeze score"),
    scoreLine("flood", "Flood score"),
    scoreLine("loss", "Loss avoided today"),
    dangerLine(),
    waterLine(),
    sentenceList("Why", listOf(data.reasons, focus), "No single reason stands out."),
    away ? piece("p", {}, ["Cut off if the road is shut: ", said(away), "."]) : "",
    sentenceList("What is not known", listOf(data.unknowns, focus), ""),
    ...adviceLines(),
    shares(),
    ratingSection(),
    piece("h3", { textContent: "Where the scores come from" }),
    columnTable("freeze", "Freeze score"),
    columnTable("flood", "Flood score"),
    columnTable("loss", "Loss avoided"),
    limitsSection(),
    piece("p", { className: "hint", textContent: data.scoreWords }),
  );
  return close;
}

function markRow() {
  for (const button of document.querySelectorAll("#rows [aria-current]")) {
    button.removeAttribute("aria-current");
  }
  const button = document.querySelector(`#rows [data-row="${focus}"]`);
  if (!button) return;
  button.setAttribute("aria-current", "true");
  button.scrollIntoView({ block: "nearest" });
}

function openCard(row, from) {
  focus = row;
  spot = -1;
  cameFrom = from || null;
  markRow();
  markSpot();
  showCard(fillCard(), isPlaced(row) ? latLng(row) : null, Boolean(from));
}

function showCard(close, at, isFromList) {
  byId("card").hidden = false;
  document.body.classList.add("with-card");
  if (innerWidth < ROOMY) byId("choices").open = byId("key").open = false;
  byId("card").scrollTop = 0;
  map.invalidateSize({ animate: false });
  if (at && (isFromList || !map.getBounds().contains(at))) {
    map.setView(at, Math.max(map.getZoom(), 14), { animate: false });
  }
  drawLegend();
  redraw();
  close.focus({ preventScroll: true });
}

function closeCard() {
  if (focus < 0 && spot < 0) return;
  // A switch of units draws the lists anew: what opened the card is looked up again.
  const row = document.querySelector(focus < 0 ? "#spots [aria-current]" : `#rows [data-row="${focus}"]`);
  focus = spot = -1;
  byId("card").hidden = true;
  document.body.classList.remove("with-card");
  markRow();
  markSpot();
  map.invalidateSize({ animate: false });
  drawLegend();
  redraw();
  const back = cameFrom && cameFrom.isConnected ? cameFrom : row;
  if (back) back.focus();
}
