// Today's stops of each truck, what is not reached, cautions and what this is not.
function showButton(row) {
  if (row === null || row === undefined) return "";
  const button = piece("button", { type: "button", textContent: "Show on map" });
  button.addEventListener("click", () => openCard(row, button));
  return button;
}

function wetWay(stop) {
  return stop.wet.map((words) => piece("p", { className: "problem" }, [piece("b", {}, [said(words)])]));
}

function thawItem(stop, t) {
  const take = [`about ${stop.minutes}`, stop.range ? ` (${stop.range})` : ""].join("");
  const means = `${either(stop.water)} of water, ${either(stop.fuel)} of fuel`;
  return piece("li", { className: "visit" }, [
    piece("h3", {}, [
      piece("b", { className: "plate", textContent: `${letter(t)}${stop.number}` }),
      piece("time", { textContent: stop.start }),
      " ",
      said(stop.id),
    ]),
    stop.road ? piece("p", {}, [said(stop.road)]) : "",
    stop.owner ? piece("p", {}, [piece("b", {}, [said(stop.owner)])]) : "",
    ...wetWay(stop),
    stop.wait || stop.keep_clear ? piece("p", {}, [piece("b", { textContent: stop.wait }), " ", said(stop.keep_clear)]) : "",
    piece("p", {}, [piece("b", { textContent: stop.frozen })]),
    piece("p", { textContent: `Until ${stop.end}: ${take}, ${means}${stop.ends ? `, ${stop.ends}` : ""}.` }),
    piece("p", {}, [
      stop.has_end
        ? `Outlet: ${stop.where}, ${stop.side}. `
        : `Road above the pipe: ${stop.where}. Outlet ${stop.side}. `,
      `${stop.stakes} `,
      stop.note ? said(stop.note) : "",
    ]),
    stop.logged ? piece("p", {}, [said(stop.logged)]) : "",
    either(stop.danger)
      ? piece("p", { className: "problem" }, [piece("b", { textContent: "Danger. " }), said(either(stop.danger))])
      : "",
    piece("p", {}, ["Why: ", stop.access, " ", said(stop.why.map(either).join(". "))]),
    stop.cure ? piece("p", {}, ["Cure, later: ", said(stop.cure), "."]) : "",
    piece("p", { textContent: `Saves ${stop.loss} of delay on average. Tank after: ${either(stop.tank_left)}.` }),
    showButton(stop.row),
    logForm(stop),
  ]);
}

function moveItem(stop, t) {
  const words = {
    start: ["Leave ", said(stop.place), ` with ${either(stop.tank_left)} of water`],
    fill: ["Fill water at ", said(stop.place), ` until ${stop.end}`],
    end: ["Back at ", said(stop.place)],
  }[stop.kind] || [said(stop.place)];
  const when = stop.kind === "end" ? stop.arrive : stop.start;
  return piece("li", { className: "move-on" }, [
    stop.kind === "fill" ? piece("b", { className: "plate", textContent: `${letter(t)}${stop.number}` }) : "",
    piece("time", { textContent: when }), " ", ...words, ...wetWay(stop),
  ]);
}

function truckSection(truck, t) {
  const sum =
    `${truck.leaves} to ${truck.back}: ${truck.open_count} to visit${truck.shut ? `, ${truck.shut}` : ""}, ` +
    `${either(truck.drive)} of driving, about ${either(truck.water)} of water, ` +
    `${either(truck.fuel)} of fuel. Times count every stop as shut: if you are ahead, go on.`;
  const items = truck.stops.map((stop) =>
    stop.kind === "thaw" ? thawItem(stop, t) : moveItem(stop, t),
  );
  return piece("section", {}, [
    piece("h2", {}, [piece("b", { className: "plate", textContent: letter(t) }), said(truck.crew)]),
    piece("p", { textContent: sum }),
    truck.people ? piece("p", { className: "problem" }, [truck.people]) : "",
    piece("ol", { className: "visits" }, items),
  ]);
}

function drawToday() {
  const gain = piece("p", { className: "hint", textContent: data.comparison });
  const none = [piece("p", { textContent: "No trucks are planned on this page." }), gain];
  const trucks = data.trucks.map(truckSection);
  byId("pane-today").replaceChildren(...(trucks.length ? [gain, saveLogButton(), ...trucks] : none));
}

function drawMissed() {
  const notes = data.problems.map((told) => piece("p", { className: "problem" }, [said(either(told))]));
  const items = data.missed.slice(0, missedCount).map((item) =>
    piece("li", { className: "visit" }, [
      piece("h3", {}, [said(item.id), item.road ? ", " : "", item.road ? said(item.road) : ""]),
      item.owner ? piece("p", {}, [piece("b", {}, [said(item.owner)])]) : "",
      piece("p", { textContent: `${item.where}${item.over ? `; ${item.over}` : ""}.` }),
      piece("p", {}, ["Do instead: ", piece("b", {}, [said(either(item.instead))])]),
      piece("p", {}, ["Why not: ", said(either(item.why)), `. At stake: ${item.loss}.`]),
      showButton(item.row),
    ]),
  );
  const more = piece("button", { type: "button", textContent: "Show 100 more" });
  more.addEventListener("click", () => {
    missedCount += PAGE;
    drawMissed();
  });
  const words = data.missed.length
    ? `${crossingCount(data.missed.length)} that no truck reaches, most at stake first.`
    : "No crossing is listed as not reached.";
  byId("pane-missed").replaceChildren(
    piece("h2", { textContent: "Not reached today" }),
    ...notes,
    piece("p", { className: "hint", textContent: words }),
    piece("ol", { className: "visits" }, items),
    data.missed.length > missedCount ? more : "",
  );
}
let missedCount = PAGE;

function plainList(sentences) {
  return piece("ul", {}, sentences.map((text) => piece("li", { textContent: text })));
}

function drawAbout() {
  const hurt = data.cautions.map((item) =>
    piece("li", {}, [
      piece("b", { textContent: `${item.hazard}: ` }),
      either(item.words),
      item.source ? piece("small", { textContent: ` (${item.source})` }) : "",
    ]),
  );
  byId("pane-about").replaceChildren(
    piece("h2", { textContent: "Before anything else" }),
    plainList(data.statement),
    piece("h2", { textContent: "What can hurt someone" }),
    piece("ul", {}, hurt),
    piece("h2", { textContent: "What this is not" }),
    plainList(data.notThis),
    piece("h2", { textContent: "What the scores mean" }),
    piece("p", { textContent: data.scoreWords }),
    piece("p", {
      textContent:
        "Loss avoided is what opening the pipe now saves in delay and isolation, in " +
        "person-hours: what water over the road would cost, times how much less likely " +
        "it is with the pipe open.",
    }),
    piece("details", {}, [
      piece("summary", { textContent: "Software in this page: Leaflet 1.9.3" }),
      piece("p", {
        textContent:
          "Copyright (c) 2010-2022, Volodymyr Agafonkin; (c) 2010-2011, CloudMade. " +
          "BSD 2-Clause licence; its whole text stands at the top of this file's source.",
      }),
    ]),
  );
}
