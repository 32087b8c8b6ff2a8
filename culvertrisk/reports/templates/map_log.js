// What the crew did at each stop: kept in this browser, saved as a thaw log.
const RESULT_WORDS = {
  "": "–",
  open: "opened",
  partial: "partly open",
  dug: "only dug out",
  "not frozen": "was not frozen",
  "gave up": "could not open",
};
const LOG_HEADER = [
  "day", "culvert_id", "place", "crew", "method", "minutes", "litres", "result", "note",
];
const LITRES_PER_GALLON = 3.785411784; // exact: 231 cubic inches
const FORMULA_START = /^[=+\-@\t\r]/;
let logged = {};

// All files on a disk share one store, so the key names the plan.
const logKey = () => `culvertrisk:log:${data.on}:${data.title}`;

function startLog() {
  try {
    logged = JSON.parse(remember(logKey()) || "{}");
  } catch (error) {
    logged = {};
  }
}

function logEntry(stop, name, value) {
  logged[stop.id] = { ...logged[stop.id], [name]: value };
  const isKept = remember(logKey(), JSON.stringify(logged)) !== null;
  tell(isKept ? `Noted for ${stop.id}.` : "This browser keeps nothing: save the log before closing.");
}

function logField(label, field) {
  return piece("label", {}, [label, " ", field]);
}

function textField(stop, name, properties) {
  const entry = logged[stop.id] || {};
  const field = piece("input", { type: "text", value: entry[name] || "", ...properties });
  field.addEventListener("change", () => logEntry(stop, name, field.value.trim()));
  return field;
}

function waterField(stop) {
  const times = isUs() ? LITRES_PER_GALLON : 1;
  const litres = (logged[stop.id] || {}).litres;
  const value = litres ? String(Math.round(litres / times)) : "";
  const field = piece("input", { type: "number", min: "0", value });
  field.addEventListener("change", () =>
    logEntry(stop, "litres", field.value === "" ? "" : Math.round(field.value * times)),
  );
  return logField(isUs() ? "gallons used" : "litres used", field);
}

function logForm(stop) {
  const entry = logged[stop.id] || {};
  const result = piece("select", {}, []);
  for (const [value, words] of Object.entries(RESULT_WORDS)) {
    result.append(piece("option", { value, textContent: words }));
  }
  result.value = entry.result || "";
  result.addEventListener("change", () => logEntry(stop, "result", result.value));
  const summary = piece("summary", { textContent: "Write down what was done" });
  return piece("details", { className: "log", open: Boolean(entry.result) }, [
    summary,
    logField("result", result),
    logField("minutes", textField(stop, "minutes", { type: "number", min: "0" })),
    waterField(stop),
    logField("note", textField(stop, "note", {})),
  ]);
}

function csvCell(value) {
  let text = value === undefined || value === null ? "" : String(value);
  if (FORMULA_START.test(text)) text = `'${text}`;
  return /[",\r\n]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text;
}

function logText() {
  const rows = data.trucks.flatMap((truck) =>
    truck.stops
      .filter((stop) => logged[stop.id] && logged[stop.id].result)
      .map((stop) => {
        const { minutes, litres, result, note } = logged[stop.id];
        return [data.on, stop.id, stop.road, truck.crew, "", minutes, litres, result, note];
      }),
  );
  const lines = [LOG_HEADER, ...rows].map((row) => row.map(csvCell).join(","));
  return `\ufeff${lines.join("\r\n")}\r\n`;
}

function saveLog() {
  const address = URL.createObjectURL(new Blob([logText()], { type: "text/csv" }));
  const link = piece("a", { href: address, download: `thaw_log_${data.on}.csv` });
  document.body.append(link);
  link.click();
  link.remove();
  setTimeout(() => URL.revokeObjectURL(address), 5000);
}

function saveLogButton() {
  const button = piece("button", {
    type: "button",
    id: "save-log",
    textContent: "Save the day's log (CSV)",
  });
  button.addEventListener("click", saveLog);
  return button;
}
