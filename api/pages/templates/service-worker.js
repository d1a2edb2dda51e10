// Keeps the trial form with its style, so that it opens without a network; nothing else is kept.
"use strict";
const PARTS = "gustbook parts PARTS_VERSION", FORMS = "gustbook form", FORM = "/trials/new", OFFLINE = "/offline";
const ASSETS = ["PARTS_LIST", OFFLINE];

addEventListener("install", (event) => {
  event.waitUntil(caches.open(PARTS).then((cache) => cache.addAll(ASSETS)).then(() => skipWaiting()));
});
addEventListener("activate", (event) => {
  const old = (names) => names.filter((name) => name.startsWith("gustbook parts") && name !== PARTS);
  event.waitUntil(caches.keys().then((names) => Promise.all(old(names).map((name) => caches.delete(name)))).then(() => clients.claim()));
});

// Only the plain form is kept: what an address names is filled in by the page itself.
const isForm = (url, answer) => url.pathname === FORM && !url.search && answer.ok && !answer.redirected;
const fetchForm = async (request, url) => {
  const answer = await fetch(request);
  if (isForm(url, answer)) await (await caches.open(FORMS)).put(FORM, answer.clone());
  return answer;
};
const kept = async (url) => (url.pathname === FORM && (await caches.match(FORM, { cacheName: FORMS }))) || caches.match(OFFLINE);

addEventListener("fetch", (event) => {
  const { request } = event, url = new URL(request.url);
  if (url.origin !== location.origin) return;
  if (request.method === "POST" && url.pathname === "/sign-out") event.waitUntil(caches.delete(FORMS));
  if (request.method !== "GET") return;
  if (url.pathname === "/sign-in") event.waitUntil(caches.delete(FORMS)); // what came late is not kept either
  if (ASSETS.includes(url.pathname) && url.pathname !== OFFLINE) {
    event.respondWith(caches.match(request).then((found) => found ?? fetch(request)));
  } else if (request.mode === "navigate" || url.pathname === FORM) {
    event.respondWith(fetchForm(request, url).catch(() => kept(url)));
  }
});
