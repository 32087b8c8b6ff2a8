// The ranked list of every crossing: a hundred at a time, search, arrow keys.
const PAGE = 100;
let found = null; // rows that the search has left, or null for all
let shownCount = PAGE;

function rowButton(row, place) {
  const reasons = listOf(data.reasons, row);
  const road = textOf(data.roadNames, row);
  const button = piece("button", { type: "button", className: "row" }, [
    piece("b", { className: "rank", textContent: String(place + 1) }),
    signPicture(classOf(row)),
    piece("span", { className: "who" }, [
      piece("span", { className: "id" }, [said(data.ids[row])]),
      road ? piece("span", { className: "road" }, [said(road)]) : "",
      piece("span", { className: "why" }, [
        kind === "loss"
          ? `${classWords("freeze", row)}, ${classWords("flood", row)}`
          : classWords(kind, row),
        ". ",
        reasons.length ? said(reasons[0]) : "",
      ]),
    ]),
    piece("span", { className: "score", textContent: scoreWords(kind, row) }),
  ]);
  button.dataset.row = row;
  button.tabIndex = -1;
  button.addEventListener("click", () => openCard(row, button));
  if (row === focus) button.setAttribute("aria-current", "true");
  return button;
}

function drawList() {
  const wanted = found === null ? null : new Set(found);
  const items = [];
  let matching = 0;
  order.forEach((row, place) => {
    if (wanted && !wanted.has(row)) return;
    matching += 1;
    if (items.length < shownCount) items.push(piece("li", {}, [rowButton(row, place)]));
  });
  byId("rows").replaceChildren(...items);
  const first = byId("rows").querySelector("button");
  if (first) first.tabIndex = 0;
  byId("more").hidden = matching <= shownCount;
  const what = {
    loss: "loss avoided today by opening it, in person-hours",
    freeze: data.calibrated ? "freeze score from the town's log" : "freeze score, 0 to 100",
    flood: "flood score, 0 to 100",
  }[kind];
  byId("order").textContent = wanted
    ? `${whole.format(matching)} found, worst first by ${what}.`
    : `${crossingCount(matching)}, worst first by ${what}.`;
}

function search() {
  const words = byId("find").value.trim().toLowerCase();
  shownCount = PAGE;
  if (!words) found = null;
  else {
    const roads = data.roadNames.words.map((name) => name.toLowerCase().includes(words));
    const owners = data.owners.words.map((name) => name.toLowerCase().includes(words));
    found = order.filter(
      (row) =>
        data.ids[row].toLowerCase().includes(words) ||
        roads[data.roadNames.codes[row]] ||
        owners[data.owners.codes[row]],
    );
  }
  drawList();
}

// One stop of the Tab key for the whole list; arrows, Home and End move inside it.
function moveInList(event, buttons) {
  const at = buttons.indexOf(document.activeElement);
  const to = {
    ArrowDown: at + 1,
    ArrowUp: at - 1,
    Home: 0,
    End: buttons.length - 1,
  }[event.key];
  if (at < 0 || to === undefined || !buttons[to]) return;
  buttons.forEach((button) => (button.tabIndex = -1));
  buttons[to].tabIndex = 0;
  buttons[to].focus();
  event.preventDefault();
}

function startList() {
  let waiting = 0;
  byId("find").addEventListener("input", () => {
    clearTimeout(waiting);
    waiting = setTimeout(search, 150);
  });
  byId("search").addEventListener("submit", (event) => {
    event.preventDefault();
    clearTimeout(waiting);
    search();
    const first = byId("rows").querySelector("button");
    if (first) first.click();
    else tell("Nothing found.");
  });
  byId("rows").addEventListener("keydown", (event) =>
    moveInList(event, [...byId("rows").querySelectorAll("button")]),
  );
  byId("more").addEventListener("click", () => {
    const next = shownCount;
    shownCount += PAGE;
    drawList();
    byId("rows").querySelectorAll("button")[next].focus();
  });
}
