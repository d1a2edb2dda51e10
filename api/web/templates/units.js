// A number may have a unit after it, as in 950 mV. What it means is shown before it is sent.
"use strict";
(() => {
  const NUMBER = /^[+\-\u2212]?[0-9]+([.,][0-9]+)?$/;
  const value = (text) => Number(text.replace("\u2212", "-").replace(",", "."));
  const WITH_UNIT = /^([+\-\u2212]?[0-9][0-9.,]*)\s*([^\s0-9.,].*)$/;
  const ALIASES = { kmh: "km/h", kph: "km/h", kt: "kn", kts: "kn", knots: "kn", ohm: "\u03c9", ohms: "\u03c9", kohm: "k\u03c9", f: "\u00b0f", c: "\u00b0c", volt: "v", volts: "v", rpm: "1/min" };
  const symbolOf = (unit) => { const plain = unit.replace(/\s/g, "").toLowerCase().replace("\u2126", "\u03c9"); return ALIASES[plain] ?? plain; };
  const inUnit = (field, text) => {
    const found = WITH_UNIT.exec(text.trim());
    if (!found || !("units" in field.dataset || field.dataset.unit)) return null;
    const symbol = symbolOf(found[2]);
    if (symbol === symbolOf(field.dataset.unit ?? "")) return { text: found[1], number: value(found[1]) };
    const known = (field.dataset.units ?? "").split(";").map((each) => each.split(" ")).find(([name]) => name === symbol);
    if (!known || !NUMBER.test(found[1])) return null;
    return { converted: Number((value(found[1]) * Number(known[1]) + Number(known[2])).toPrecision(4)) };
  };
  const showMeaning = (field) => {
    const meant = inUnit(field, field.value);
    let shown = document.getElementById("u-" + field.name);
    if (!meant || meant.converted === undefined) { shown?.remove(); return; }
    if (!shown) {
      shown = document.createElement("output");
      shown.id = "u-" + field.name;
      shown.className = "meaning";
      field.after(shown);
    }
    shown.textContent = `= ${meant.converted} ${field.dataset.unit}`;
  };
  addEventListener("input", (event) => { if (event.target.dataset?.unit) showMeaning(event.target); });
  window.gustbookUnits = { NUMBER, value, inUnit };
})();
