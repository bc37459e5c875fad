/* What every page does about the signal: it says so where something could not be fetched or sent, and lets this
   device keep pages for where there is none (club/offline.py). Pages work without this. */
(() => {
  "use strict";
  const given = document.currentScript.dataset;
  const words = JSON.parse(given.words);
  const language = document.documentElement.lang || undefined;
  const moment = (iso) => new Intl.DateTimeFormat(language, { dateStyle: "medium", timeStyle: "short" }).format(new Date(iso));

  /* A kept page says of when it is ------------------------------------------ */
  const notice = document.querySelector("[data-as-of]");
  const isKept = Boolean(notice && notice.dataset.asOf);
  if (isKept) notice.textContent = words.asOf.replace("{when}", moment(notice.dataset.asOf));

  /* Trouble stands beside what it was with ----------------------------------- */
  const tell = (place, said) => {
    clear(place);
    const line = document.createElement("p");
    line.className = "field-error trouble";
    line.setAttribute("role", "alert");
    line.textContent = said;
    place.insertAdjacentElement("afterend", line);
  };
  const clear = (place) => {
    const next = place.nextElementSibling;
    if (next && next.classList.contains("trouble")) next.remove();
  };
  const waiting = new Map(); /* what failed without a signal, and how it is asked again */
  const again = () => {
    for (const [place, ask] of waiting) { waiting.delete(place); ask(); }
  };
  const cut = ({ detail }) => {
    if (detail.elt.hasAttribute("data-tells")) return; /* a page whose own script says it */
    tell(detail.elt, words.noSignal);
    const asked = detail.requestConfig && detail.requestConfig.triggeringEvent;
    const submits = (detail.elt.getAttribute("hx-trigger") || "").includes("submit");
    waiting.set(detail.elt, () => window.htmx.trigger(detail.elt, submits || !asked ? "submit" : asked.type));
  };
  document.addEventListener("htmx:sendError", cut);
  document.addEventListener("htmx:timeout", cut);
  document.addEventListener("htmx:responseError", ({ detail }) => {
    if (detail.elt.hasAttribute("data-tells")) return;
    const { status } = detail.xhr;
    tell(detail.elt, status === 429 ? words.tooOften : status === 401 || status === 403 ? words.signedOut : words.failed);
  });
  document.addEventListener("htmx:beforeRequest", ({ detail }) => detail.elt.setAttribute("aria-busy", "true"));
  document.addEventListener("htmx:afterRequest", ({ detail }) => {
    detail.elt.removeAttribute("aria-busy");
    if (detail.successful) { waiting.delete(detail.elt); clear(detail.elt); }
  });
  addEventListener("online", again);
  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (event.defaultPrevented || navigator.onLine || form.method !== "post") return;
    event.preventDefault();
    tell(event.submitter || form, words.notSent);
  });

  /* The page of what is kept ------------------------------------------------- */
  const list = document.querySelector("[data-kept-pages]");
  const FIRST = 8;
  const bodies = ["kept-body", "kept-check"];
  /* Bodies as they were looked at; of a garage or an event what leads to the rest comes first. */
  const order = (a, b) => {
    if (bodies.includes(a.group)) return b.when - a.when;
    const deep = (one) => one.url.split("/").length;
    return deep(a) - deep(b) || a.url.localeCompare(b.url, "en", { numeric: true });
  };
  const held = (name) => name.startsWith("kept-") || name === "race-day";
  const show = async () => {
    const found = [];
    for (const name of (await caches.keys()).filter(held)) {
      const cache = await caches.open(name);
      for (const request of await cache.keys()) {
        const answer = await cache.match(request, { ignoreVary: true });
        if (!answer || !(answer.headers.get("content-type") || "").includes("html")) continue;
        const { title } = new DOMParser().parseFromString(await answer.text(), "text/html");
        found.push({ url: request.url, title: title.split(" · ")[0], when: new Date(answer.headers.get("date")), group: name });
      }
    }
    for (const group of list.querySelectorAll("[data-group]")) {
      const mine = found.filter((one) => group.dataset.group.split(" ").includes(one.group)).sort(order);
      const [first, rest] = group.querySelectorAll("ul");
      const items = mine.map((one) => {
        const item = document.createElement("li");
        const link = document.createElement("a");
        const time = document.createElement("time");
        link.href = one.url;
        link.textContent = one.title;
        time.dateTime = one.when.toISOString();
        time.textContent = moment(one.when);
        time.className = "soft small";
        item.append(link, " ", time);
        return item;
      });
      group.hidden = !mine.length;
      first.replaceChildren(...items.slice(0, FIRST));
      rest.replaceChildren(...items.slice(FIRST));
      rest.parentElement.hidden = items.length <= FIRST;
    }
    list.querySelector("[data-none]").hidden = found.length > 0;
    list.querySelector("[data-forget]").hidden = !found.length;
    list.dataset.keptPages = String(found.length);
  };
  if (list && "caches" in window) {
    if (isKept) {
      const heading = document.querySelector("h1");
      heading.textContent = heading.dataset.away;
      document.title = heading.dataset.away;
      notice.hidden = true;
      for (const one of document.querySelectorAll("[data-when-away]")) one.hidden = false;
      for (const one of document.querySelectorAll("[data-when-here]")) one.hidden = true;
    }
    list.querySelector("[data-forget]").addEventListener("click", async () => {
      for (const name of (await caches.keys()).filter(held)) await caches.delete(name);
      show();
    });
    show();
  }

  /* What keeps them ------------------------------------------------------------ */
  if (!("serviceWorker" in navigator) || !("caches" in window)) return;
  const { serviceWorker } = navigator;
  for (const leaving of document.querySelectorAll("form[action*='sign-out'], form[data-leaves]")) {
    leaving.addEventListener("submit", () => { if (serviceWorker.controller) serviceWorker.controller.postMessage({ forget: true }); });
  }
  if (!given.worker) return;
  const before = serviceWorker.controller;
  const stays = async () => {
    for (const one of await serviceWorker.getRegistrations()) {
      if (new URL(one.scope).pathname !== "/") await one.unregister(); /* one of before, for some pages only */
    }
    await serviceWorker.register(given.worker);
    const { active } = await serviceWorker.ready;
    /* The first page came before there was a worker: it is looked at once more. */
    if (!before) active.postMessage({ keep: location.href });
  };
  addEventListener("load", () => { stays().catch(() => { /* no worker here: the page works all the same */ }); });
})();
