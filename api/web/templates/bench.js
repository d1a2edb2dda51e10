// The trial form: a draft that survives, unsent trials that are listed, checked and corrected.
"use strict";
(() => {
  const form = document.querySelector("form[data-draft]");
  const { DRAFT, read, write, newKey, numbers, unsent, changed, send, sendInTurn, isTrial } = window.gustbook ?? {};
  if (!form || !document.body.dataset.key || !unsent) return;
  const EDITING = "gustbook editing " + document.body.dataset.key;
  const words = form.dataset, status = document.getElementById("draft-status");
  const isReading = (name) => /^voltage_|^current_a$/.test(name);
  const editing = () => sessionStorage.getItem(EDITING);
  const edit = (id) => (id ? sessionStorage.setItem(EDITING, id) : sessionStorage.removeItem(EDITING));

  const show = (text, address, link) => {
    status.textContent = text + " ";
    if (address) {
      const anchor = document.createElement("a");
      anchor.href = address;
      anchor.textContent = link;
      status.append(anchor);
    }
    status.hidden = false;
  };
  const fill = (fields) => {
    for (const [name, value] of Object.entries(fields)) {
      const field = form.elements[name];
      if (!field) continue;
      if (field.type === "checkbox") field.checked = value === "yes";
      else if (field.tagName !== "SELECT" || [...field.options].some((each) => each.value === value)) field.value = value;
    }
  };
  const clearReadings = () => {
    for (const field of form.elements) if (isReading(field.name ?? "")) field.value = "";
    form.elements.form_key.value = newKey();
    form.elements.tried.value = "";
  };

  // --- the same limits as the service's, asked before a trial is kept to be sent later ---------

  const { NUMBER, value, inUnit } = window.gustbookUnits;
  const AMBIGUOUS = /^[+\-\u2212]?[1-9][0-9]{0,2}[.,][0-9]{3}$/;
  const isWithin = (field, number) => !(number < Number(field.dataset.min ?? -Infinity) || number > Number(field.dataset.max ?? Infinity));
  // The teams of the session's school stand first, reference rotors last.
  const choice = form.elements.build_id, finder = document.getElementById("find-build");
  form.elements.session_id.addEventListener("change", (event) => {
    const school = event.target.selectedOptions[0]?.dataset.school;
    const place = ({ dataset }) => (dataset.school === school ? 0 : dataset.school ? 1 : 2);
    const groups = [...choice.querySelectorAll("optgroup")], chosen = choice.value;
    choice.append(...groups.sort((a, b) => place(a) - place(b) || a.label.localeCompare(b.label)));
    choice.value = chosen;
  });

  // With many builds, the first two letters of a team, a turbine or a changed factor find one.
  const FIND_FROM = 8, NOT_A_WORD = /[^\p{L}\p{N}]+/u;
  if (finder && choice.options.length > FIND_FROM) {
    const every = [...choice.querySelectorAll("option")].map((option) => ({
      option, words: `${option.parentElement.label ?? ""} ${option.textContent}`.toLowerCase().split(NOT_A_WORD), group: option.parentElement,
    }));
    finder.hidden = false;
    finder.querySelector("input").addEventListener("input", (event) => {
      const wanted = event.target.value.trim().toLowerCase().split(/\s+/);
      for (const { option, words, group } of every) {
        if (!option.value) continue;
        const fits = wanted.every((part) => words.some((word) => word.startsWith(part)));
        if (fits) group.append(option); else option.remove();
      }
      for (const group of choice.querySelectorAll("optgroup")) group.hidden = !group.children.length;
      const found = [...choice.options].filter((option) => option.value);
      if (found.length === 1 && wanted[0]) { choice.value = found[0].value; choice.dispatchEvent(new Event("change", { bubbles: true })); }
    });
  }

  const faultOf = (field) => {
    const typed = field.value.trim(), meant = typed && inUnit(field, typed);
    if (meant && meant.converted !== undefined) return isWithin(field, meant.converted) ? "" : `${words.limits} ${field.dataset.min} – ${field.dataset.max}`;
    const text = meant ? meant.text : typed;
    if (!text) return field.dataset.needed ? words.needed : "";
    if (field.inputMode !== "decimal") return "";
    if (!NUMBER.test(text)) return `${text} ${words.number}`;
    const plain = value(text), grouped = Number(text.replace("\u2212", "-").replace(/[.,]/, ""));
    if (AMBIGUOUS.test(text) && isWithin(field, plain) && isWithin(field, grouped)) return `${text} ${words.either} ${plain} / ${grouped}`;
    return isWithin(field, plain) ? "" : `${words.limits} ${field.dataset.min} – ${field.dataset.max}`;
  };
  const mark = (field, words) => {
    document.getElementById("e-" + field.name)?.remove();
    if (!words) { field.removeAttribute("aria-invalid"); return; }
    const fault = document.createElement("p");
    Object.assign(fault, { className: "fault", id: "e-" + field.name, textContent: words });
    field.setAttribute("aria-invalid", "true");
    field.setAttribute("aria-describedby", fault.id);
    field.closest(".field").append(fault);
  };
  const faults = () => {
    const found = new Map();
    for (const field of form.querySelectorAll("input:not([type=hidden]), select")) {
      const fault = faultOf(field);
      if (fault) found.set(field, fault);
    }
    const { kind, load_ohm, load_connected, meter_range_v, voltage_1 } = form.elements;
    const read = [...form.elements].filter((each) => isReading(each.name ?? "") && each.value.trim());
    if (!read.length) found.set(voltage_1, words.reading);
    if (kind.value !== "open_circuit") {
      if (!load_ohm.value.trim()) found.set(load_ohm, words.load);
      if (!load_connected.checked) found.set(load_connected, words.load);
    }
    const range = Number(meter_range_v.value);
    for (const field of read) if (range && field.name.startsWith("voltage_") && Math.abs(value(field.value)) >= range) found.set(field, words.range);
    return found;
  };
  const isSound = () => {
    const found = faults();
    for (const field of form.querySelectorAll("input:not([type=hidden]), select")) mark(field, found.get(field) ?? "");
    const [first] = found.keys();
    first?.closest("details")?.setAttribute("open", "");
    first?.focus();
    return !found.size;
  };

  // --- the list --------------------------------------------------------------------------------

  const named = (name, id) => [...(form.elements[name]?.options ?? [])].find((each) => each.value === id)?.textContent ?? "";
  const inWords = (fields) => {
    const volts = Object.entries(fields).filter(([name]) => name.startsWith("voltage_")).map(([, text]) => `${text} V`);
    const pitch = fields.pitch_deg ? `${fields.pitch_deg}°` : "", load = fields.load_ohm ? `${fields.load_ohm} Ω` : "";
    return [named("build_id", fields.build_id), named("session_id", fields.session_id), pitch, load, volts.join(", ")].filter(Boolean).join(" · ");
  };
  const button = (label, does) => {
    const made = document.createElement("button");
    Object.assign(made, { type: "button", className: "plain", textContent: label });
    made.addEventListener("click", () => does(made));
    return made;
  };
  const correct = ({ id }) => {
    putBack();
    keepDraft();
    const entry = unsent.all().find((each) => each.id === id);
    if (!entry || entry.state === "sending") return;
    // It does not go before it is corrected, even when the network is back.
    unsent.change(id, { state: "correcting", before: entry.before ?? entry.state });
    clearReadings();
    fill({ ...entry.fields, tried: entry.tried ?? "" });
    edit(id);
    changed();
    show(words.correcting);
    status.scrollIntoView();
    isSound();
  };
  // What was being corrected, and was left, is as it was before.
  const putBack = () => {
    const left = unsent.all().find((each) => each.id === editing());
    if (left?.state === "correcting") unsent.change(left.id, { state: left.before, before: undefined });
    edit(null);
  };
  const remove = (entry, pressed) => {
    if (pressed.dataset.asked) { unsent.remove(entry.id); changed(); return; }
    pressed.dataset.asked = "yes";
    pressed.textContent = words.sure;
  };
  const list = () => {
    const section = document.getElementById("unsent"), entries = unsent.all();
    section.hidden = !entries.length;
    section.querySelector("ul").replaceChildren(...entries.map((entry) => {
      const item = document.createElement("li"), why = document.createElement("p"), row = document.createElement("div");
      item.className = entry.state === "waiting" ? "warn" : "hold";
      item.append(inWords(entry.fields));
      why.textContent = entry.reasons?.length ? `${words.refused} ${entry.reasons.join(" ")}` : words[entry.state];
      row.className = "buttons";
      if (entry.state !== "sending") row.append(button(words.correct, () => correct(entry)), button(words.remove, (pressed) => remove(entry, pressed)));
      item.append(why, row);
      return item;
    }));
  };
  addEventListener("gustbook-unsent", list);

  // --- the draft -------------------------------------------------------------------------------

  // Readings that were begun and are about to give way to others go into the list, not away.
  const keepDraft = () => {
    const draft = read(DRAFT, null);
    if (draft && Object.keys(draft).some(isReading)) unsent.add({ fields: { ...draft, form_key: newKey() }, state: "draft" });
    write(DRAFT, null);
    changed();
  };
  const asked = new URLSearchParams(location.search);
  const isRefused = Boolean(document.getElementById("trouble"));
  if (!isRefused) {
    putBack();
    form.elements.form_key.value = newKey(); // a form that was opened without a network is an old one
    fill(Object.fromEntries(asked));
    const draft = read(DRAFT, null);
    if (draft && /[?&](after|build_id|session_id)=/.test(location.search)) keepDraft();
    else if (draft) { fill(draft); show(words.restored); }
  }
  form.addEventListener("input", () => write(DRAFT, numbers(form)));

  // Another build has another pitch and load: the last one's may not stay behind unnoticed.
  const ofBuild = [form.elements.pitch_deg, form.elements.load_ohm];
  for (const field of ofBuild) field.addEventListener("input", () => { field.dataset.typed = "yes"; });
  form.elements.build_id.addEventListener("change", (event) => {
    const chosen = event.target.selectedOptions[0]?.dataset ?? {}, open = ofBuild.filter((field) => !field.dataset.typed);
    if (!open.some((field) => field.value !== (chosen[field.name] ?? ""))) return;
    for (const field of open) field.value = chosen[field.name] ?? "";
    form.elements.load_connected.checked = false;
    show(words.of_build);
  });
  list();
  sendInTurn();

  // --- sending ---------------------------------------------------------------------------------

  form.addEventListener("keydown", (event) => {
    if (event.key !== "Enter" || event.target.tagName === "TEXTAREA" || event.target.tagName === "BUTTON") return;
    event.preventDefault();
    const fields = [...form.querySelectorAll("input:not([type=hidden]), select, textarea, summary, button.main")].filter((each) => each.offsetParent !== null);
    fields[fields.indexOf(event.target) + 1]?.focus();
  });

  const press = form.querySelector("button.main"), label = press?.textContent;
  const busy = (is) => {
    press.disabled = is;
    press.textContent = is ? words.sending : label;
    if (is) press.setAttribute("aria-busy", "true");
    else press.removeAttribute("aria-busy");
  };
  const done = () => {
    if (editing()) unsent.remove(editing());
    edit(null);
    write(DRAFT, null);
    changed();
  };
  const keep = () => {
    if (!isSound()) { show(words.wrong); return; }
    // The service may have got it, and only its answer was lost.
    const entry = { fields: numbers(form), state: "waiting", reasons: [], tried: "yes", before: undefined };
    if (editing()) unsent.change(editing(), entry);
    else if (!unsent.add(entry)) { show(words.full); return; }
    edit(null);
    write(DRAFT, null);
    clearReadings();
    show(words.offline, "#unsent", words.title);
    changed();
    status.scrollIntoView();
  };
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    if (press.disabled) return;
    busy(true);
    try {
      const answer = await send(Object.fromEntries(new FormData(form)));
      if (answer.status >= 500 || answer.status === 429) throw new Error("later");
      if (isTrial(answer.url)) {
        done();
        location.assign(answer.url);
        return;
      }
    } catch {
      busy(false);
      keep();
      return;
    }
    // Refused, or signed out meanwhile: nothing was stored, so the browser may send it as ever.
    press.disabled = false;
    HTMLFormElement.prototype.submit.call(form);
  });
})();
