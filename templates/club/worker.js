/* Keeps pages on this device, so that they open again without a signal (club/offline.py says which).

   The network always comes first: what is kept is shown where it does not answer, and the page then says of when
   it is. Nothing is sent from here, and nothing is kept of what is sent. What one reader looked at is put away as
   soon as a page comes that was made for another, and when somebody signs out. */
"use strict";
const GIVEN = {{ given|safe }};
const LOOKS = `looks-${GIVEN.version}`;
const READER = "reader";
const PATIENCE = 6000;
const AGAIN = 30 * 60 * 1000;
const DAY = 24 * 60 * 60 * 1000;
const ANYHOW = { ignoreVary: true };

const cacheOf = (kind) => (kind === "race-day" ? kind : `kept-${kind}`);
const kinds = Object.keys(GIVEN.kinds);
const keptSince = (answer) => new Date(answer.headers.get("date")).getTime();
const isKeptCache = (name) => kinds.some((kind) => cacheOf(kind) === name);

addEventListener("install", (event) => {
  skipWaiting();
  event.waitUntil(stock());
});
addEventListener("activate", (event) => event.waitUntil(takeOver()));
addEventListener("message", (event) => {
  if (event.data.forget) event.waitUntil(forget());
  else if (event.data.keep) event.waitUntil(take(event.data.keep, true).catch(() => { /* the next look keeps it */ }));
});
addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== location.origin) return;
  if (request.mode === "navigate") {
    if (!url.pathname.startsWith("/api/")) event.respondWith(page(event, request, url));
  } else if (url.pathname.startsWith(GIVEN.static)) {
    event.respondWith(look(event, request));
  }
});

/* What pages look like, and the page for no signal -------------------------------------------------------- */
async function stock() {
  const cache = await caches.open(LOOKS);
  await cache.addAll(GIVEN.looks);
  for (const address of Object.values(GIVEN.pages)) {
    /* Without cookies: that page is the same for everybody, and stays when its reader signs out. */
    const found = await fetch(address, { credentials: "omit" });
    if (found.ok) await cache.put(address, found);
  }
}
async function takeOver() {
  let another = false;
  for (const name of await caches.keys()) {
    if (name.startsWith("looks-") && name !== LOOKS) another = await caches.delete(name);
  }
  await clients.claim();
  if (another) anew(); /* pages kept before name the style sheets of before; not waited for, pages go on meanwhile */
}
async function look(event, request) {
  try {
    const found = await fetch(request);
    if (found.ok) {
      const copy = found.clone();
      event.waitUntil(caches.open(LOOKS).then((cache) => cache.put(request, copy)));
    }
    return found;
  } catch (error) {
    const kept = await caches.match(request, ANYHOW);
    if (kept) return kept;
    throw error;
  }
}

/* Pages -------------------------------------------------------------------------------------------------------- */
async function page(event, request, url) {
  const kept = await find(url);
  const stop = new AbortController();
  const timer = kept ? setTimeout(() => stop.abort(), PATIENCE) : 0;
  try {
    const found = await fetch(request, { signal: stop.signal });
    event.waitUntil(keep(url, found.clone(), true));
    return found;
  } catch {
    return kept ? asOf(kept) : noSignal();
  } finally {
    clearTimeout(timer);
  }
}
/* Fetches what nobody has opened. With opened, it is what a person has on the screen. */
async function take(address, opened) {
  const url = new URL(address, location.origin);
  if (url.origin === location.origin) await keep(url, await fetch(url.href), opened);
}
async function keep(url, answer, opened) {
  const reader = answer.headers.get("x-reader");
  if (reader && !(await isFor(reader, opened))) return;
  const kind = answer.headers.get("x-keep");
  if (!kind || !GIVEN.kinds[kind] || !answer.ok || answer.redirected) {
    if (answer.ok || [403, 404, 410].includes(answer.status)) await drop(url);
    return;
  }
  const cache = await caches.open(cacheOf(kind));
  const key = keyOf(kind, url);
  await cache.delete(key, ANYHOW); /* so that it stands last */
  await cache.put(key, answer);
  const keys = await cache.keys();
  for (const old of keys.slice(0, Math.max(0, keys.length - GIVEN.kinds[kind].most))) await cache.delete(old, ANYHOW);
  const also = answer.headers.get("x-keep-also");
  if (opened && also && !(navigator.connection && navigator.connection.saveData)) await ahead(also);
}
async function ahead(list) {
  const told = await fetch(list);
  if (!told.ok || told.redirected) return;
  for (const address of (await told.json()).pages) {
    const kept = await find(new URL(address, location.origin));
    if (!kept || Date.now() - keptSince(kept) > AGAIN) await take(address, false);
  }
}
async function anew() {
  for (const kind of kinds) {
    for (const request of await (await caches.open(cacheOf(kind))).keys()) {
      await take(request.url, false).catch(() => { /* it stays as it is */ });
    }
  }
}
function keyOf(kind, url) {
  return GIVEN.ofOnePath.includes(kind) ? url.pathname : url.pathname + url.search;
}
async function find(url) {
  for (const kind of kinds) {
    const kept = await (await caches.open(cacheOf(kind))).match(keyOf(kind, url), ANYHOW);
    if (kept && Date.now() - keptSince(kept) < GIVEN.kinds[kind].days * DAY) return kept;
  }
  return undefined;
}
async function drop(url) {
  for (const kind of kinds) await (await caches.open(cacheOf(kind))).delete(keyOf(kind, url), ANYHOW);
}
async function asOf(kept) {
  const headers = new Headers(kept.headers);
  for (const name of ["content-encoding", "content-length"]) headers.delete(name);
  const when = new Date(keptSince(kept)).toISOString();
  const told = (await kept.text()).replace(' hidden data-as-of=""', ` data-as-of="${when}"`);
  return new Response(told, { headers });
}
async function noSignal() {
  const [, language] = ((await lastReader()) || "").split(" ");
  const address = GIVEN.pages[language] || Object.values(GIVEN.pages)[0];
  const kept = await (await caches.open(LOOKS)).match(address, ANYHOW);
  return kept ? asOf(kept) : new Response("No signal", { status: 503, headers: { "content-type": "text/plain" } });
}

/* Whose pages these are: member, language and unit of lengths ------------------------------------------------ */
async function lastReader() {
  const kept = await (await caches.open(READER)).match("/");
  return kept && kept.text();
}
async function isFor(reader, opened) {
  const before = await lastReader();
  if (before === reader) return true;
  const another = before && before.split(" ")[0] !== reader.split(" ")[0];
  if (!opened && another) return false; /* fetched for who has gone since */
  if (another) await forget();
  if (opened) await (await caches.open(READER)).put("/", new Response(reader));
  if (opened && before && !another) anew(); /* in the other language, or the other unit */
  return true;
}
async function forget() {
  for (const name of await caches.keys()) if (isKeptCache(name) || name === READER) await caches.delete(name);
}
