// Makes pages quicker to use; every page works without it.
"use strict";
(() => {
  // On a phone, parts that are rarely needed start closed.
  if (matchMedia("(max-width: 40rem)").matches) {
    for (const part of document.querySelectorAll("details[data-fold]")) part.open = false;
  }
  // A link to a part of a page opens that part.
  const openTarget = () => {
    const part = location.hash && document.getElementById(decodeURIComponent(location.hash.slice(1)));
    if (part && part.closest("details")) part.closest("details").open = true;
  };
  addEventListener("hashchange", openTarget);
  openTarget();

  // A choice in a filter shows its result at once.
  for (const choice of document.querySelectorAll("[data-sends]")) {
    choice.addEventListener("change", () => choice.form.requestSubmit());
  }

  // The button below a long table stays in sight once a row is ticked.
  for (const form of document.querySelectorAll("form:has(.sticky)")) {
    form.addEventListener("change", () => {
      form.querySelector(".sticky").classList.toggle("stays", !!form.querySelector("input:checked"));
    });
  }

  // A link or key is copied with one tap, where the browser allows it.
  for (const button of navigator.clipboard ? document.querySelectorAll("[data-copies]") : []) {
    const held = document.getElementById(button.dataset.copies);
    button.hidden = false;
    button.addEventListener("click", async () => {
      await navigator.clipboard.writeText(held.value ?? held.textContent);
      button.textContent = button.dataset.done;
    });
  }

  // A slow link or form says that it is at work.
  addEventListener("submit", (event) => {
    const button = event.submitter;
    if (button && !event.defaultPrevented) setTimeout(() => { button.setAttribute("aria-busy", "true"); }, 150);
  });
  addEventListener("pageshow", () => {
    for (const button of document.querySelectorAll("[aria-busy]")) button.removeAttribute("aria-busy");
  });

  // A form that was changed asks before it is left.
  let isChanged = false;
  addEventListener("input", (event) => {
    const form = event.target.closest && event.target.closest("form[method=post]");
    if (form && !form.dataset.draft) isChanged = true;
  });
  addEventListener("submit", () => { isChanged = false; });
  addEventListener("beforeunload", (event) => { if (isChanged) event.preventDefault(); });

  // The values of a chart: by pointer, by tap, or with the arrow keys when the chart has the focus.
  for (const figure of document.querySelectorAll("figure")) {
    const shown = figure.querySelector("output");
    for (const chart of figure.querySelectorAll("svg.chart")) {
      const values = [...chart.querySelectorAll(".value")];
      if (!values.length || !shown) continue;
      let at = -1;
      const show = (place) => {
        at = (place + values.length) % values.length;
        for (const value of values) value.classList.toggle("chosen", value === values[at]);
        shown.textContent = values[at].querySelector("title").textContent;
      };
      chart.setAttribute("tabindex", "0");
      chart.addEventListener("keydown", (event) => {
        const step = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 }[event.key];
        if (step) { event.preventDefault(); show(at + step); }
      });
      const nearest = (event) => {
        let best = -1, least = 40;
        values.forEach((value, place) => {
          const box = value.getBoundingClientRect();
          const distance = Math.hypot(box.x + box.width / 2 - event.clientX, box.y + box.height / 2 - event.clientY);
          if (distance < least) { least = distance; best = place; }
        });
        if (best >= 0) show(best);
      };
      chart.addEventListener("pointermove", nearest);
      chart.addEventListener("pointerdown", nearest);
    }
    // The chart as a picture for slides.
    const save = figure.querySelector(".save");
    if (!save) continue;
    save.hidden = false;
    const wide = figure.querySelector(".on-screen svg");
    const keep = (address, ending) => {
      const link = document.createElement("a");
      link.href = address;
      link.download = `${wide.querySelector("title").textContent}.${ending}`;
      link.click();
    };
    const asText = () => {
      const copy = wide.cloneNode(true), box = wide.viewBox.baseVal;
      copy.setAttribute("width", box.width);
      copy.setAttribute("height", box.height);
      const originals = wide.querySelectorAll("*"), copies = copy.querySelectorAll("*");
      const names = ["fill", "fill-opacity", "stroke", "stroke-opacity", "stroke-width", "stroke-dasharray", "font-size", "font-weight", "text-anchor", "opacity"];
      originals.forEach((each, place) => {
        const style = getComputedStyle(each);
        for (const name of names) copies[place].setAttribute(name, style.getPropertyValue(name));
        copies[place].setAttribute("font-family", "sans-serif");
      });
      const paper = document.createElementNS("http://www.w3.org/2000/svg", "rect");
      paper.setAttribute("width", "100%");
      paper.setAttribute("height", "100%");
      paper.setAttribute("fill", getComputedStyle(document.body).backgroundColor);
      copy.prepend(paper);
      return "data:image/svg+xml;charset=utf-8," + encodeURIComponent(new XMLSerializer().serializeToString(copy));
    };
    save.addEventListener("click", (event) => {
      const kind = event.target.dataset.kind;
      if (kind === "svg") keep(asText(), "svg");
      if (kind !== "png") return;
      const picture = new Image();
      picture.onload = () => {
        const canvas = document.createElement("canvas");
        canvas.width = 2 * picture.width;
        canvas.height = 2 * picture.height;
        canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
        keep(canvas.toDataURL("image/png"), "png");
      };
      picture.src = asText();
    });
  }
})();
