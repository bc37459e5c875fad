/* Keeps the inspector's pages on the phone, so that one that was open opens again without a signal.

   The network comes first; what is kept is only asked where there is none, and is a day old at most. Nothing is
   sent from here: what was typed is the page's own (scrutineering.js). */
"use strict";
const KEPT = "race-day";
const PATIENCE = 6000;
const DAY = 24 * 60 * 60 * 1000;

const isInspection = (url) => /^\/events\/[^/]+\/entries\/\d+\/inspect\/$/.test(url.pathname);
const isStatic = (url) => url.pathname.startsWith("{{ static_url }}");

addEventListener("install", () => skipWaiting());
addEventListener("activate", (event) => event.waitUntil(clients.claim()));

addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== location.origin) return;
  if (request.mode === "navigate" ? !isInspection(url) : !isStatic(url)) return;
  event.respondWith(answer(request));
});

async function answer(request) {
  const cache = await caches.open(KEPT);
  const kept = await cache.match(request);
  const fresh = kept && Date.now() - new Date(kept.headers.get("date")).getTime() < DAY;
  const stop = new AbortController();
  const timer = fresh ? setTimeout(() => stop.abort(), PATIENCE) : 0;
  try {
    const found = await fetch(request, { signal: stop.signal });
    if (found.ok && found.type === "basic" && !found.redirected) await cache.put(request, found.clone());
    return found;
  } catch (error) {
    if (fresh) return kept;
    throw error;
  } finally {
    clearTimeout(timer);
  }
}
