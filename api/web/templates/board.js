// Keeps the board of an event up to date; without a network it shows the last state, and goes on.
"use strict";
(() => {
  const EVERY_MS = 5000;
  const update = async () => {
    try {
      const answer = await fetch(location.href, { headers: { Accept: "text/html" }, cache: "no-store", signal: AbortSignal.timeout(EVERY_MS) });
      if (!answer.ok) return;
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      for (const part of ["main", "footer"]) {
        const shown = document.querySelector(part), now = page.querySelector(part);
        if (now && !shown.isEqualNode(now)) shown.replaceChildren(...document.importNode(now, true).childNodes);
      }
    } catch { /* the next round tries again */ }
  };
  setInterval(update, EVERY_MS);
})();
