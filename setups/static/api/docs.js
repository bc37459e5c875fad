"use strict";

// The page's scheme is the reader's; the viewer's style sheet wants a class for the dark one.
const dark = matchMedia("(prefers-color-scheme: dark)");
const follow = () => document.documentElement.classList.toggle("dark-mode", dark.matches);
dark.addEventListener("change", follow);
follow();

// The page has the heading and the introduction; the viewer's own would be a second one.
const headless = () => ({ wrapComponents: { InfoContainer: () => () => null } });

const place = document.getElementById("api-docs");
SwaggerUIBundle({
  url: place.dataset.schema,
  domNode: place,
  presets: [SwaggerUIBundle.presets.apis],
  plugins: [headless],
  layout: "BaseLayout",
  // A hundred operations at once are a long walk: the reader opens the group they came for.
  docExpansion: "none",
  syntaxHighlight: false,
  validatorUrl: null,
  defaultModelsExpandDepth: 0,
  // Who is signed in may try what writes too: the site asks for its own token then, which every form of the
  // page carries; no script can read the cookie.
  requestInterceptor: (request) => {
    const token = document.querySelector("input[name=csrfmiddlewaretoken]");
    if (token) request.headers["X-CSRFToken"] = token.value;
    return request;
  },
});

// What the viewer leaves out: names for its choices, and the keyboard's way into what scrolls.
const complete = () => {
  for (const choice of place.querySelectorAll("select:not([aria-label])")) {
    const row = choice.closest("[data-param-name]");
    choice.setAttribute("aria-label", row ? row.dataset.paramName : "Media type");
  }
  for (const text of place.querySelectorAll("pre:not([tabindex])")) text.setAttribute("tabindex", "0");
};
new MutationObserver(complete).observe(place, { childList: true, subtree: true });
