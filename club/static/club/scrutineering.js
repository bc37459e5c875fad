/* The inspector's page without a signal.

   The page is a plain form and works without this. With it, a record that is kept goes into this phone's own
   storage first, each under a key made here (a UUID), and is sent from there until the club has it. The club
   stores a key once, so that sending again does no harm. Nothing is judged here: what a value means stands in
   data-zones, worked out by the server, and the answer that comes back replaces what was foretold. What is said
   stands in the page, in its language (club/racing/events/words.py). */
(() => {
  "use strict";
  const form = document.querySelector("form[data-inspecting]");
  if (!form) return;
  const PREFIX = "kept-record:";
  const RETRY = 8000;
  const PATIENCE = 15000;
  const me = form.dataset.member;
  const words = JSON.parse(form.dataset.texts);
  const language = document.documentElement.lang || undefined;
  const status = form.querySelector("[data-status]");
  const sendNow = form.querySelector("[data-send-now]");
  const signIn = form.querySelector("[data-sign-in-link]");
  const field = (name) => form.elements.namedItem(name);
  let sending = false;
  let signal = true;
  let signedOut = false;
  const unstored = new Map(); /* where the phone keeps nothing: until the page is left */

  /* What is kept ------------------------------------------------------------ */
  const uuid = () => {
    if (crypto.randomUUID) return crypto.randomUUID();
    const b = crypto.getRandomValues(new Uint8Array(16));
    b[6] = (b[6] & 15) | 64;
    b[8] = (b[8] & 63) | 128;
    const hex = [...b].map((x) => x.toString(16).padStart(2, "0")).join("");
    return hex.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");
  };
  const put = (record) => {
    try {
      localStorage.setItem(PREFIX + record.fields.key, JSON.stringify(record));
      unstored.delete(record.fields.key);
    } catch {
      unstored.set(record.fields.key, record);
    }
  };
  const drop = (record) => {
    unstored.delete(record.fields.key);
    try { localStorage.removeItem(PREFIX + record.fields.key); } catch { /* nothing was kept there */ }
  };
  const every = () => {
    const found = [...unstored.values()];
    try {
      for (let i = 0; i < localStorage.length; i += 1) {
        const name = localStorage.key(i);
        if (!name.startsWith(PREFIX)) continue;
        try { found.push(JSON.parse(localStorage.getItem(name))); } catch { /* not ours */ }
      }
    } catch { /* a phone that keeps nothing */ }
    return found.sort((a, b) => a.order - b.order);
  };
  const mine = () => every().filter((one) => one.by === me);

  /* What is shown ----------------------------------------------------------- */
  const fill = (template, values) => template.replace(/\{(\w+)\}/g, (whole, name) => (name in values ? values[name] : whole));
  const counted = (pair, n) => fill(pair[n === 1 ? 0 : 1], { n });
  const show = () => {
    const kept = mine();
    const refused = kept.filter((one) => one.refused);
    const waiting = kept.length - refused.length;
    const others = every().length - kept.length;
    const said = [];
    if (refused.length) said.push(counted(words.refused, refused.length));
    if (waiting) said.push(counted(words.waiting, waiting));
    if (waiting && signedOut) said.push(counted(words.signedOut, waiting));
    else if (waiting && !signal) said.push(counted(words.noSignal, waiting));
    if (unstored.size) said.push(words.unstored);
    if (others) said.push(counted(words.others, others));
    if (!said.length) said.push(words.allSent);
    const all = said.join(" ");
    if (status.textContent !== all) status.textContent = all;
    status.dataset.state = refused.length ? "refused" : waiting ? "waiting" : "sent";
    sendNow.hidden = !waiting || signedOut;
    signIn.hidden = !(waiting && signedOut);
    for (const card of form.querySelectorAll("[data-card]")) {
      const list = card.querySelector("[data-kept]");
      const here = kept.filter((one) => one.url === form.dataset.send && one.fields.clause === card.dataset.card);
      list.replaceChildren(...here.map((one) => line(card, one)));
      list.hidden = !here.length;
    }
  };
  const line = (card, record) => {
    const item = document.createElement("li");
    const text = document.createElement("span");
    const kept = record.fields.stage === "after" ? words.keptAfter : words.keptBefore;
    text.textContent = record.refused
      ? fill(words.notTaken, { said: record.said, why: record.refused })
      : fill(kept, { said: record.said, run: record.fields.run });
    item.append(text);
    if (record.refused) {
      item.dataset.refused = "";
      const again = document.createElement("button");
      again.type = "button";
      again.className = "button-plain";
      again.textContent = words.again;
      again.addEventListener("click", () => {
        const input = card.querySelector("[data-reading]");
        if (input && record.fields.reading) input.value = record.fields.reading;
        drop(record);
        show();
        (input || card.querySelector("[data-seen]")).focus();
        foretell(card);
      });
      item.append(again);
    }
    return item;
  };
  const fail = (card, why) => {
    const error = card.querySelector("[data-error]");
    const input = card.querySelector("[data-reading]");
    error.textContent = why;
    error.hidden = !why;
    if (!input) return;
    if (why) {
      input.setAttribute("aria-invalid", "true");
      input.setAttribute("aria-describedby", error.id);
      input.focus();
    } else {
      input.removeAttribute("aria-invalid");
      input.removeAttribute("aria-describedby");
    }
  };

  /* What a value would mean, while it is typed ------------------------------- */
  const TYPED = /^(-?\d{1,5}(?:\.\d+)?)\s*(mm|in|inch|zoll|"|″)?$/i;
  const typed = (text) => text.trim().replace(",", ".").replace("−", "-").match(TYPED);
  /* The number as the zones and the club have it: in mm where the card asks for a length. */
  const number = (text, unit) => {
    const found = typed(text);
    if (!found) return null;
    const behind = (found[2] || unit || "").toLowerCase();
    const isLength = unit === "mm" || unit === "in";
    if (found[2] && !isLength) return null;
    return Number(found[1]) * (isLength && behind !== "mm" ? 25.4 : 1);
  };
  /* What is kept says its unit where it is not mm: it may be sent on another day, from another page. */
  const withUnit = (text, unit) => {
    const found = unit === "in" && typed(text);
    return found && !found[2] ? `${text.trim()} in` : text.trim();
  };
  const meaning = (zones, value) => {
    for (const zone of zones) {
      if (zone.to === null || value < zone.to - 1e-9) return zone.in;
      if (value <= zone.to + 1e-9) return zone.at;
    }
    return zones[zones.length - 1].in;
  };
  const LOOKS = { complies: "fits", too_close: "close", does_not_comply: "fails" };
  const say = ([verdict, passes]) => {
    if (verdict === "complies") return form.dataset.sayComplies;
    if (verdict === "does_not_comply") return form.dataset.sayDoesNotComply;
    return passes ? form.dataset.sayPass : form.dataset.sayFail;
  };
  const foretell = (card) => {
    const input = card.querySelector("[data-reading]");
    const value = input ? number(input.value, card.dataset.unit) : null;
    if (value === null) return;
    for (const asked of card.querySelectorAll("[data-asked]")) {
      if (!asked.dataset.zones) continue;
      const found = meaning(JSON.parse(asked.dataset.zones), value);
      const chip = asked.querySelector(".verdict");
      const look = LOOKS[found[0]];
      if (chip) {
        chip.className = `verdict verdict-${look}`;
        chip.textContent = say(found);
      }
      asked.querySelector("[data-words]").textContent = words.typed;
      move(asked.querySelector("[data-bar]"), value, Number(asked.dataset.u), look, card.dataset.unit || "");
    }
  };
  const move = (bar, value, u, look, unit) => {
    if (!bar) return;
    const side = Number(bar.dataset.side);
    const from = Number(bar.dataset.from);
    const to = Number(bar.dataset.to);
    const { width } = bar.viewBox.baseVal;
    const at = (x) => Math.min(Math.max(side + ((width - 2 * side) * (x - from)) / (to - from), side), width - side);
    const x = at(value);
    const [left, right] = [at(value - 2 * u), at(value + 2 * u)];
    bar.setAttribute("class", `limit-bar guard-bar limit-bar-${look}`);
    bar.querySelector("[data-value]").setAttribute("d", `M${x - 6} 30l6 -6 6 6 -6 6Z`);
    bar.querySelector("[data-doubt]").setAttribute("d", u ? `M${left} 30H${right}M${left} 25v10M${right} 25v10` : "");
    const found = bar.querySelector("[data-found]");
    const inches = unit === "in";
    const figure = (inches ? value / 25.4 : value).toLocaleString(language, { useGrouping: false, maximumFractionDigits: inches ? 3 : 6 });
    found.textContent = `${figure} ${unit}`.trim();
    found.setAttribute("x", Math.min(Math.max(x, 40), width - 40));
  };

  /* Keeping ------------------------------------------------------------------ */
  const keep = (card) => {
    const input = card.querySelector("[data-reading]");
    const seen = card.querySelector("[data-seen]:checked");
    if (input && !input.value.trim()) return fail(card, words.reading), false;
    if (input && number(input.value, card.dataset.unit) === null) return fail(card, words.number), false;
    if (!input && !seen) return fail(card, words.choose), false;
    const wrong = card.querySelector("[data-wrong]");
    const reason = card.querySelector("[data-reason]");
    if (wrong && wrong.checked && !reason.value.trim()) return fail(card, words.reason), false;
    const tool = card.dataset.toolName;
    if (tool && field(`tool_${tool}`).value === "other" && !field(`doubt_${tool}`).value.trim()) {
      form.querySelector(".inspect-tools").open = true;
      return fail(card, words.doubt), false;
    }
    fail(card, "");
    const key = card.querySelector("[data-key]");
    const note = card.querySelector("[data-note]");
    const said = input ? (typed(input.value)[2] ? input.value.trim() : `${input.value.trim()} ${card.dataset.unit || ""}`.trim()) : words[seen.value];
    put({
      url: form.dataset.send,
      by: me,
      order: Date.now() + performance.now() / 1e6,
      said,
      fields: {
        key: key.value,
        clause: card.dataset.card,
        stage: field("stage").value,
        run: field("run").value,
        reading: input ? withUnit(input.value, card.dataset.unit) : "",
        seen: seen ? seen.value : "",
        instrument: tool ? field(`tool_${tool}`).value : "",
        doubt: tool ? withUnit(field(`doubt_${tool}`).value, card.dataset.unit) : "",
        note: note.value,
        wrong: wrong && wrong.checked ? "yes" : "",
        reason: reason ? reason.value : "",
        taken_at: new Date().toISOString(),
      },
    });
    key.value = uuid();
    if (input) input.value = "";
    if (seen) seen.checked = false;
    note.value = "";
    if (wrong) { wrong.checked = false; reason.value = ""; }
    return true;
  };

  /* Sending, one after another ------------------------------------------------ */
  const send = async (record) => {
    const body = new URLSearchParams(record.fields);
    body.set("csrfmiddlewaretoken", field("csrfmiddlewaretoken").value);
    const stop = new AbortController();
    const timer = setTimeout(() => stop.abort(), PATIENCE);
    try {
      return await fetch(record.url, { method: "POST", body, credentials: "same-origin", redirect: "manual", signal: stop.signal });
    } finally {
      clearTimeout(timer);
    }
  };
  const flush = async () => {
    if (sending) return;
    sending = true;
    try {
      for (const record of mine().filter((one) => !one.refused)) {
        let answer;
        try {
          answer = await send(record);
        } catch {
          signal = false;
          break;
        }
        signal = true;
        if (answer.type === "opaqueredirect" || answer.status === 403) {
          signedOut = true;
          break;
        }
        signedOut = false;
        if (answer.status === 422) {
          const told = await answer.json().catch(() => ({}));
          put({ ...record, refused: told.message || words.why });
        } else if (answer.status === 404 || answer.status === 400) {
          put({ ...record, refused: words.gone });
        } else if (answer.ok) {
          const told = await answer.json().catch(() => null);
          if (!told) { signal = false; break; }
          drop(record);
          replace(record, told.html);
        } else {
          signal = false;
          break;
        }
        show();
      }
    } finally {
      sending = false;
      show();
    }
  };
  const replace = (record, html) => {
    const here = record.url === form.dataset.send && record.fields.stage === field("stage").value && record.fields.run === field("run").value;
    const card = here && form.querySelector(`[data-card="${CSS.escape(record.fields.clause)}"]`);
    if (!card || !html) return;
    const fresh = new DOMParser().parseFromString(html, "text/html");
    card.querySelector("[data-result]").replaceChildren(...fresh.body.childNodes);
    foretell(card);
  };

  /* Another car while there is no signal: the same questions, nothing shown of what is on record ------------- */
  const change = (option) => {
    form.dataset.send = option.dataset.send;
    form.action = option.dataset.open;
    document.querySelector("[data-car-number]").textContent = option.dataset.number;
    document.querySelector("[data-car-driver]").textContent = option.dataset.driver;
    document.querySelector("[data-car-what]").textContent = words.away;
    document.querySelector("[data-car-link]").href = option.dataset.page;
    for (const card of form.querySelectorAll("[data-card]")) {
      fail(card, "");
      card.querySelector("[data-key]").value = uuid();
      for (const input of card.querySelectorAll("[data-reading], [data-note], [data-reason]")) input.value = "";
      for (const input of card.querySelectorAll("[data-seen], [data-wrong]")) input.checked = false;
      for (const old of card.querySelectorAll("[data-on-record], .ruling-note")) old.remove();
      for (const asked of card.querySelectorAll("[data-asked]")) {
        const chip = asked.querySelector(".verdict");
        if (chip) { chip.className = "verdict verdict-unknown"; chip.textContent = words.unchecked; }
        asked.querySelector("[data-words]").textContent = "";
        for (const mark of asked.querySelectorAll("[data-value], [data-doubt]")) mark.setAttribute("d", "");
        for (const found of asked.querySelectorAll("[data-found]")) found.textContent = "";
      }
    }
    show();
    scrollTo(0, 0);
  };
  const away = () => !navigator.onLine || !signal;
  const cars = document.querySelector("[data-other-car]");
  const choose = cars.elements.namedItem("car");
  cars.addEventListener("submit", (event) => {
    event.preventDefault();
    const option = choose.selectedOptions[0];
    if (away()) change(option);
    else location.assign(option.dataset.open);
  });
  const next = cars.querySelector("[data-next]");
  if (next) next.addEventListener("click", (event) => {
    if (!away() || choose.selectedIndex + 1 >= choose.options.length) return;
    event.preventDefault();
    choose.selectedIndex += 1;
    change(choose.selectedOptions[0]);
    const after = choose.options[choose.selectedIndex + 1];
    if (after) next.textContent = fill(words.next, after.dataset);
    else next.hidden = true;
  });

  /* What a person does --------------------------------------------------------- */
  form.addEventListener("submit", (event) => {
    const button = event.submitter;
    if (button && button.name === "tools") return; /* other instruments: the page comes anew */
    event.preventDefault();
    const card = (button && button.closest("[data-card]")) || (document.activeElement && document.activeElement.closest("[data-card]"));
    if (card && keep(card)) { show(); flush(); }
  });
  form.addEventListener("input", (event) => {
    const card = event.target.closest("[data-card]");
    if (card && event.target.matches("[data-reading]")) { fail(card, ""); foretell(card); }
  });
  /* Enter on the phone's keyboard keeps what it stands in, not the first button of the page. */
  form.addEventListener("keydown", (event) => {
    if (event.key !== "Enter" || !event.target.matches("[data-reading], [data-note], [data-reason]")) return;
    event.preventDefault();
    const card = event.target.closest("[data-card]");
    if (keep(card)) { show(); flush(); }
  });
  sendNow.addEventListener("click", flush);
  addEventListener("online", () => { signal = true; flush(); });
  addEventListener("offline", () => { signal = false; show(); });
  addEventListener("storage", show);
  addEventListener("beforeunload", (event) => { if (unstored.size) event.preventDefault(); });
  document.addEventListener("visibilitychange", () => { if (!document.hidden) flush(); });
  setInterval(() => { if (mine().some((one) => !one.refused)) flush(); }, RETRY);
  show();
  flush();

  /* The page itself stays on the phone too, until its inspector signs out ------- */
  if ("serviceWorker" in navigator && "caches" in window) {
    const stays = async () => {
      await navigator.serviceWorker.register(form.dataset.worker);
      await navigator.serviceWorker.ready;
      const cache = await caches.open("race-day");
      const looks = [...document.querySelectorAll("link[rel=stylesheet], script[src]")].map((one) => one.href || one.src);
      for (const one of [location.href, ...looks]) {
        if (!(await cache.match(one))) await cache.add(one);
      }
      document.documentElement.dataset.stays = "";
    };
    stays().catch(() => { /* no worker here: the page works, and what is typed is kept all the same */ });
  }
})();
