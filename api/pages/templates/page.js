// Helps at the bench where the network is weak; every page works without it.
// Kept on the phone are numbers, ids and choices of the trial form alone, never a note.
"use strict";
(() => {
  const KEPT = /^(session_id|build_id|kind|pitch_deg|load_ohm|load_connected|voltage_[1-5]|wind_speed_m_s|meter_range_v|pitch_after_deg|rotor_speed_rpm|current_a|duration_s|form_key)$/;
  const key = document.body.dataset.key;
  const DRAFT = "gustbook draft " + key, WAITING = "gustbook waiting " + key;
  const status = document.getElementById("draft-status");
  const form = document.querySelector("form[data-draft]");

  const stored = (name, otherwise) => {
    try { return JSON.parse(localStorage.getItem(name)) ?? otherwise; } catch { return otherwise; }
  };
  const store = (name, value) => {
    try {
      if (value === null) localStorage.removeItem(name);
      else localStorage.setItem(name, JSON.stringify(value));
    } catch { /* a phone without storage keeps nothing, and the form works as without this script */ }
  };
  const tell = (words, address, link) => {
    if (!status) return;
    status.textContent = words + " ";
    if (address) {
      const anchor = document.createElement("a");
      anchor.href = address;
      anchor.textContent = link;
      status.append(anchor);
    }
    status.hidden = false;
  };
  const numbers = (from) => {
    const kept = {};
    for (const [name, value] of new FormData(from)) if (KEPT.test(name) && value) kept[name] = value;
    return kept;
  };
  const send = (fields) =>
    fetch("/trials/new", {
      method: "POST", body: new URLSearchParams(fields), credentials: "same-origin",
      headers: { Accept: "text/html" },
    });
  const isTrial = (address) => /\/trials\/trl_/.test(address);

  // What could not be sent goes again, in its order, under its own key: it is stored once.
  let isSending = false;
  const sendWaiting = async () => {
    if (isSending || !stored(WAITING, []).length) return;
    isSending = true;
    let last = "";
    try {
      for (let waiting = stored(WAITING, []); waiting.length; waiting = stored(WAITING, [])) {
        const answer = await send(waiting[0]);
        if (answer.status >= 500 || /\/sign-in/.test(answer.url)) break;
        if (!isTrial(answer.url)) {
          store(DRAFT, waiting[0]);
          store(WAITING, waiting.slice(1));
          tell(status?.dataset.refused ?? "", "/trials/new", status?.dataset.open ?? "");
          return;
        }
        last = answer.url;
        store(WAITING, waiting.slice(1));
      }
      if (last) tell(status?.dataset.sent ?? "", last, status?.dataset.open ?? "");
    } catch { /* still no network: it is tried again */ } finally { isSending = false; }
  };
  if (key) {
    addEventListener("online", sendWaiting);
    setInterval(sendWaiting, 15000);
    sendWaiting();
    const waiting = stored(WAITING, []).length;
    if (waiting) tell(`${status?.dataset.waiting ?? ""} ${waiting}`);
  }
  // A new season begins in the clock of whoever opens it; it can be changed.
  const zone = document.getElementById("f-timezone");
  const here = Intl.DateTimeFormat().resolvedOptions().timeZone;
  if (zone?.value === "UTC" && location.pathname === "/seasons/new" && [...zone.options].some((each) => each.value === here)) {
    zone.value = here;
  }
  // Whatever was refused is told at the top, where the focus goes.
  document.getElementById("trouble")?.focus();
  if (!form || !key) return;

  // A draft that was begun is there again after a reload, until it is sent.
  const draft = stored(DRAFT, null);
  const isNew = !document.getElementById("trouble") && !/[?&](after|build_id|session_id)=/.test(location.search);
  if (draft && isNew) {
    for (const [name, value] of Object.entries(draft)) {
      const field = form.elements[name];
      if (!field) continue;
      if (field.type === "checkbox") field.checked = value === "yes";
      else if (field.tagName !== "SELECT" || [...field.options].some((each) => each.value === value)) field.value = value;
    }
    tell(status.dataset.restored);
  }
  form.addEventListener("input", () => store(DRAFT, numbers(form)));

  let isGone = false;
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    if (isGone) return;
    isGone = true;
    const fields = Object.fromEntries(new FormData(form));
    try {
      const answer = await send(fields);
      if (isTrial(answer.url)) {
        store(DRAFT, null);
        location.assign(answer.url);
        return;
      }
    } catch {
      store(WAITING, [...stored(WAITING, []), numbers(form)]);
      store(DRAFT, null);
      tell(status.dataset.offline);
      for (const field of form.querySelectorAll("[name^=voltage_]")) field.value = "";
      form.elements.form_key.value = crypto.getRandomValues(new Uint32Array(5)).join("-");
      status.scrollIntoView();
      isGone = false;
      return;
    }
    // Refused, or signed out meanwhile: nothing was stored, so the browser may send it as ever.
    HTMLFormElement.prototype.submit.call(form);
  });
})();
