// Tells when a draft could not be saved, and tries again: in the pits the connection comes and goes.
(() => {
  const form = document.getElementById("draft");
  const told = document.getElementById("unsaved");
  if (!form || !told) return;
  const wait = 4000;
  let again;

  const tell = (why) => {
    for (const one of told.children) one.hidden = one.dataset.why !== why;
    told.hidden = false;
    clearTimeout(again);
    if (why === "cut") again = setTimeout(() => htmx.trigger(form, "change"), wait);
  };
  const ofTheForm = (act) => (event) => { if (event.detail.elt === form) act(event); };

  document.body.addEventListener("htmx:sendError", ofTheForm(() => tell("cut")));
  document.body.addEventListener("htmx:timeout", ofTheForm(() => tell("cut")));
  document.body.addEventListener("htmx:responseError", ofTheForm((event) => tell(event.detail.xhr.status < 500 ? "refused" : "cut")));
  document.body.addEventListener("htmx:afterRequest", ofTheForm((event) => {
    if (!event.detail.successful) return;
    clearTimeout(again);
    told.hidden = true;
  }));
  window.addEventListener("online", () => { if (!told.hidden) htmx.trigger(form, "change"); });
})();
