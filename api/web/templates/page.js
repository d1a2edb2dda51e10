// Helps where the network is weak; every page works without it.
// Kept on the phone are numbers, ids and choices of the trial form alone, never a note.
"use strict";
(() => {
  const KEPT = /^(session_id|build_id|kind|pitch_deg|load_ohm|load_connected|voltage_[1-5]|wind_speed_(?:m_s|km_h|mph|kn)|meter_range_v|pitch_after_deg|rotor_speed_rpm|current_a|duration_s|form_key|tried)$/;
  // The service may be below a path of its host.
  const ROOT = new URL(document.currentScript.src).pathname.replace(/\/assets\/[^/]*$/, "");
  const FORM = ROOT + "/trials/new";
  const GIVE_UP_AFTER_MS = 20000, TRY_EVERY_MS = 15000, ASK_EVERY_MS = 3000;
  const key = document.body.dataset.key;
  const DRAFT = "gustbook draft " + key, UNSENT = "gustbook unsent " + key;

  const read = (name, otherwise) => {
    try { return JSON.parse(localStorage.getItem(name)) ?? otherwise; } catch { return otherwise; }
  };
  const write = (name, value) => {
    try {
      if (value === null) localStorage.removeItem(name);
      else localStorage.setItem(name, JSON.stringify(value));
    } catch { return false; } // a phone without storage keeps nothing, and the form works as ever
    return true;
  };
  const newKey = () => crypto.getRandomValues(new Uint32Array(5)).join("-");
  const numbers = (from) => {
    const kept = {};
    for (const [name, value] of new FormData(from)) if (KEPT.test(name) && value) kept[name] = value;
    return kept;
  };

  // The list of unsent trials. Each is changed by its own id, since another tab may change others.
  const unsent = {
    all: () => read(UNSENT, []),
    add: (entry) => write(UNSENT, [...read(UNSENT, []), { id: newKey(), ...entry }]),
    change: (id, facts) => write(UNSENT, read(UNSENT, []).map((each) => (each.id === id ? { ...each, ...facts } : each))),
    remove: (id) => write(UNSENT, read(UNSENT, []).filter((each) => each.id !== id)),
  };
  const lists = () => { try { return Object.keys(localStorage).filter((name) => name.startsWith("gustbook unsent ")); } catch { return []; } };
  const changed = () => dispatchEvent(new Event("gustbook-unsent"));
  const count = () => {
    const shown = document.getElementById("unsent-count");
    if (!shown) return;
    const many = (key ? [UNSENT] : lists()).reduce((sum, name) => sum + read(name, []).length, 0);
    shown.textContent = `${shown.dataset.words} ${many}`;
    shown.hidden = !many;
  };

  const send = (fields) =>
    fetch(FORM, {
      method: "POST", body: new URLSearchParams(fields), credentials: "same-origin",
      headers: { Accept: "text/html" }, signal: AbortSignal.timeout(GIVE_UP_AFTER_MS),
    });
  const isTrial = (address) => /\/trials\/trl_/.test(address);
  // Why the service refused: what it says at the top of the form, or as the title of its page.
  const reasons = (page, answer) => {
    const said = [...page.querySelectorAll("#trouble li")].map((each) => each.textContent.trim());
    return said.length ? said : [page.querySelector("h1")?.textContent.trim() ?? String(answer.status)];
  };

  // How many trials went, how many of them wait for an answer, and where each is.
  const tell = (sent) => {
    const status = document.getElementById("draft-status") ?? document.getElementById("sent-status");
    const words = document.getElementById("unsent-count").dataset, held = sent.filter((each) => each.isHeld);
    status.textContent = `${words.sent} ${sent.length}. ` + (held.length ? `${words.held} ${held.length}. ` : "");
    for (const { address, name } of held.length ? held : sent) {
      const link = document.createElement("a");
      Object.assign(link, { href: address, textContent: name });
      status.append(link, " ");
    }
    status.className = "callout";
    status.hidden = false;
  };

  // What waits goes in its order, each under its own key, so that it is stored once. The list is
  // read again for each: one that is being corrected meanwhile must not go as it was.
  const isDue = (entry) => entry?.state === "waiting" || entry?.state === "sending";
  const sendOne = async (entry) => {
    unsent.change(entry.id, { state: "sending", tried: "yes" });
    changed();
    let answer, page;
    try {
      answer = await send(entry.fields);
      page = new DOMParser().parseFromString(await answer.text(), "text/html");
    } catch { answer = null; } // still no network
    if (!answer || answer.status >= 500 || answer.status === 429 || /\/sign-in/.test(answer.url)) {
      unsent.change(entry.id, { state: "waiting" });
      return null;
    }
    if (!isTrial(answer.url)) {
      unsent.change(entry.id, { state: "refused", reasons: reasons(page, answer) });
      return {};
    }
    unsent.remove(entry.id);
    return { address: answer.url, name: page.querySelector("h1").textContent.trim(), isHeld: Boolean(page.querySelector(".verdict.held")) };
  };
  const sendWaiting = async () => {
    const sent = [];
    for (const { id } of unsent.all()) {
      const entry = unsent.all().find((each) => each.id === id);
      if (!isDue(entry)) continue;
      const done = await sendOne(entry);
      if (!done) break;
      if (done.address) sent.push(done);
    }
    changed();
    if (sent.length) tell(sent);
  };
  // One tab at a time; without locks a trial that two tabs send is stored once all the same.
  const sendInTurn = () => {
    if (!unsent.all().some(isDue)) return;
    if (navigator.locks) navigator.locks.request("gustbook unsent", { ifAvailable: true }, (lock) => lock && sendWaiting());
    else sendWaiting();
  };

  // The worker keeps the form, with the lists of sessions and builds as they are now.
  const keepForm = () => navigator.serviceWorker.ready.then(({ active }) => active.postMessage(FORM));

  if (document.getElementById("no-network")) {
    // A phone says that it is online before a page can be fetched, and a service may be down: ask until it answers.
    const goOn = () => fetch(ROOT + "/healthz", { cache: "no-store" }).then((answer) => answer.ok && location.reload(), () => {});
    addEventListener("online", goOn);
    setInterval(() => navigator.onLine && goOn(), ASK_EVERY_MS);
    count();
  }
  if (key) {
    addEventListener("gustbook-unsent", count);
    addEventListener("storage", changed);
    addEventListener("online", sendInTurn);
    setInterval(sendInTurn, TRY_EVERY_MS);
    count();
    if (!document.querySelector("form[data-draft]")) sendInTurn(); // the trial form does so itself
    if (navigator.serviceWorker) {
      // Over plain http there is no worker, and without a network no newer form: nothing is lost by either.
      navigator.serviceWorker.register(ROOT + "/service-worker.js").then(keepForm).catch(() => {});
    }
  }
  // A new season begins in the clock of the person who opens it; it can be changed.
  const zone = document.getElementById("f-timezone");
  const here = Intl.DateTimeFormat().resolvedOptions().timeZone;
  if (zone?.value === "UTC" && location.pathname === ROOT + "/seasons/new" && [...zone.options].some((each) => each.value === here)) {
    zone.value = here;
  }
  // Faults are listed at the top, where the focus goes.
  document.getElementById("trouble")?.focus();
  // A form is sent once, and shows that it is on its way.
  for (const form of document.querySelectorAll("form[method=post]:not([data-draft])")) {
    form.addEventListener("submit", () => setTimeout(() => {
      for (const button of form.querySelectorAll("button")) { button.disabled = true; button.setAttribute("aria-busy", "true"); }
    }));
  }
  addEventListener("pageshow", (event) => {
    if (event.persisted) for (const button of document.querySelectorAll("button[aria-busy]")) { button.disabled = false; button.removeAttribute("aria-busy"); }
  });

  window.gustbook = { DRAFT, read, write, newKey, numbers, unsent, changed, send, sendInTurn, isTrial };
})();
