// Keeps the trial form with its style, so that it opens without a network; nothing else is kept.
"use strict";
// The service may be below a path of its host, next to others with caches of their own.
const ROOT = location.pathname.replace(/\/[^/]*$/, "");
const FORM = ROOT + "/trials/new", OFFLINE = ROOT + "/offline";
const ALL_PARTS = `gustbook${ROOT} parts`, PARTS = `${ALL_PARTS} PARTS_VERSION`, FORMS = `gustbook${ROOT} form`;
const ASSETS = ["PARTS_LIST"].map((path) => ROOT + path).concat(OFFLINE);

addEventListener("install", (event) => {
  event.waitUntil(caches.open(PARTS).then((cache) => cache.addAll(ASSETS)).then(() => skipWaiting()));
});
addEventListener("activate", (event) => {
  const old = (names) => names.filter((name) => name.startsWith(`${ALL_PARTS} `) && name !== PARTS);
  event.waitUntil(caches.keys().then((names) => Promise.all(old(names).map((name) => caches.delete(name)))).then(() => clients.claim()));
});

// Only the plain form is kept: what an address names is filled in by the page itself.
const isForm = (url, answer) => url.pathname === FORM && !url.search && answer.ok && !answer.redirected;
let visit = 0; // whose the form is: one asked for before somebody signed out is not kept after it
const fetchForm = async (request, url) => {
  const asked = visit, answer = await fetch(request);
  if (isForm(url, answer)) {
    const forms = await caches.open(FORMS);
    if (asked === visit) await forms.put(FORM, answer.clone());
  }
  return answer;
};
const forget = async (request) => {
  visit += 1;
  await caches.delete(FORMS);
  const answer = await fetch(request);
  visit += 1; // one asked for meanwhile may still have been answered to who was signed in before
  await caches.delete(FORMS);
  return answer;
};
const kept = async (url) => (url.pathname === FORM && (await caches.match(FORM, { cacheName: FORMS }))) || caches.match(OFFLINE);

// A page asks for the form to be kept; a page that opened before the worker has no other way to it.
addEventListener("message", (event) => {
  const request = new Request(FORM, { headers: { Accept: "text/html" } });
  event.waitUntil(fetchForm(request, new URL(request.url)).catch(() => {}));
});
addEventListener("fetch", (event) => {
  const { request } = event, url = new URL(request.url);
  if (url.origin !== location.origin) return;
  if ([ROOT + "/sign-in", ROOT + "/sign-out"].includes(url.pathname)) event.respondWith(forget(request).catch(() => kept(url)));
  else if (request.method !== "GET") return;
  else if (ASSETS.includes(url.pathname) && url.pathname !== OFFLINE) {
    event.respondWith(caches.match(request).then((found) => found ?? fetch(request)));
  } else if (request.mode === "navigate" || url.pathname === FORM) {
    event.respondWith(fetchForm(request, url).catch(() => kept(url)));
  }
});
