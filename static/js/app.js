// Small habits of every page. Everything works without this file; it spares keys, double sends and lost focus.

const region = document.getElementById("messages");

/** Say a sentence (or what a template holds) in the status region, where a screen reader hears it too. */
export function say(sentence) {
  const line = document.createElement("p");
  line.className = "message is-warn is-lost";
  line.append(sentence);
  region.replaceChildren(line);
}

const typing = (element) => element.isContentEditable || /^(INPUT|SELECT|TEXTAREA)$/.test(element.tagName);

// Keys. What has one says so in aria-keyshortcuts, and the menu names them all. Single keys can be switched off there:
// whoever speaks to the machine would press them by chance. They never act while somebody types.
const OFF = "sumpbook-no-single-keys";
const MAIN = "Control+Enter";

/** The act that a page or the form somebody is in leads to: one, or none where nothing says which. */
function mainAct(from) {
  const shown = (acts) => acts.filter((act) => act.checkVisibility());
  const strong = (root) => shown([...root?.querySelectorAll(".act:not(.quiet)") ?? []]);
  const form = from?.closest("form:not([role=search])");
  const own = form && shown([...form.elements].filter((element) => element.matches(".act:not(.quiet)")));
  if (own?.length) return own.at(-1);
  for (const place of [".step.open", ".foot"]) {
    const acts = strong(document.querySelector(`main ${place}`));
    if (acts.length) return place === ".foot" ? acts.at(-1) : acts[0];
  }
  const acts = strong(document.querySelector("main"));
  return acts.length === 1 ? acts[0] : null;
}

function markMain() {
  const main = mainAct(null);
  for (const act of document.querySelectorAll(`[aria-keyshortcuts="${MAIN}"]`)) {
    if (act !== main) act.removeAttribute("aria-keyshortcuts");
  }
  main?.setAttribute("aria-keyshortcuts", MAIN);
}

function single(event) {
  if (event.ctrlKey || event.metaKey || event.altKey || event.repeat || typing(event.target)) return;
  if (event.key.length !== 1 || localStorage.getItem(OFF)) return;
  const has = document.querySelector(`[aria-keyshortcuts="${CSS.escape(event.key)}"]`);
  if (!has) return;
  event.preventDefault();
  if (typing(has)) { has.focus(); has.select(); } else has.click();
}

document.addEventListener("keydown", (event) => {
  single(event);
  if (event.key === "Enter" && (event.ctrlKey || event.metaKey) && !event.repeat && !event.target.closest("a[href]")) {
    const act = mainAct(event.target);
    if (act) { event.preventDefault(); act.click(); }
  }
  if (event.key === "Escape") {
    const menu = document.querySelector("details.menu[open]");
    if (menu) { menu.open = false; menu.querySelector("summary").focus(); }
  }
});

document.addEventListener("click", (event) => {
  for (const menu of document.querySelectorAll("details.menu[open]")) {
    if (!menu.contains(event.target)) menu.open = false;
  }
  if (event.target.closest("[data-print]")) window.print();
  const keys = event.target.closest("[data-single-keys]");
  if (keys) {
    if (localStorage.getItem(OFF)) localStorage.removeItem(OFF); else localStorage.setItem(OFF, "1");
    showKeys(keys);
  }
});

// What a form was written with. A field may be called "method" or "action", and then form.method is that field.
const posts = (form) => form.getAttribute("method")?.toLowerCase() === "post";

// A form is sent once. The mark falls off when the answer is there, when the page comes back from the
// browser's memory, or after 15 s without an answer; the form's hidden key keeps a repeat harmless.
const sent = new Map();

function free(form) {
  clearTimeout(sent.get(form));
  sent.delete(form);
  for (const button of form.querySelectorAll("[aria-busy]")) button.removeAttribute("aria-busy");
}

document.addEventListener("submit", (event) => {
  const form = event.target;
  if (!posts(form) || answered.delete(form)) return;
  if (sent.has(form)) {
    event.preventDefault();
    event.stopImmediatePropagation();
    return;
  }
  sent.set(form, setTimeout(free, 15000, form));
  event.submitter?.setAttribute("aria-busy", "true");
  if (form.hasAttribute("hx-post")) return;
  event.preventDefault();
  knock(form, event.submitter);
}, true);

// Whether the server answers, and lets this person in. The answer is the mark that forms carry against foreign pages:
// whoever was logged out and logs in again in another tab sends what is typed here with the new one.
async function letIn() {
  const { door } = region.dataset;
  const asked = { redirect: "manual", cache: "no-store", signal: AbortSignal.timeout(10000) };
  const answer = await fetch(door ?? import.meta.url, { ...asked, method: door ? "GET" : "HEAD" });
  if (door && answer.ok) {
    const mark = await answer.text();
    for (const input of document.querySelectorAll("input[name=csrfmiddlewaretoken]")) input.value = mark;
    document.body.setAttribute("hx-headers", JSON.stringify({ "x-csrftoken": mark }));
  }
  return answer.type !== "opaqueredirect";
}

const sayLoggedOut = () => say(document.getElementById("logged-out").content.cloneNode(true));

// A form that leaves its page is sent only when the server answers and lets in: otherwise a page of the browser's own,
// or the one to log in, would come in place of what was typed.
const answered = new WeakSet();

async function knock(form, submitter) {
  region.querySelector(".is-lost")?.remove();
  let welcome = false;
  try {
    welcome = await letIn();
    if (!welcome) sayLoggedOut();
  } catch {
    say(region.dataset.unreachable);
  }
  if (!welcome) { free(form); return; }
  answered.add(form);
  HTMLFormElement.prototype.requestSubmit.call(form, submitter);
}

// A page that Back brings out of the browser's memory still has the keys of what was sent from it: the next act from
// there is another one. (No randomUUID: in a shop's network the page may come over plain http.)
function newKey() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 0x0f) | 0x40;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const digits = Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
  return digits.replace(/^(.{8})(.{4})(.{4})(.{4})/, "$1-$2-$3-$4-");
}

addEventListener("pageshow", (event) => {
  for (const form of [...sent.keys()]) free(form);
  const [arrival] = performance.getEntriesByType("navigation");
  if (!event.persisted && arrival?.type !== "back_forward") return;
  for (const input of document.querySelectorAll("input[data-once]")) input.value = newKey();
});

/** The first thing to fill in or to press in a form or list: what is still empty, else its act or link. */
function begin(form) {
  const empty = ({ type, name, value, required, checked }) => {
    if (type === "radio") return !form.querySelector(`[name="${CSS.escape(name)}"]:checked`);
    return type === "checkbox" ? required && !checked : !value;
  };
  const fields = [...form.querySelectorAll("input:not([type=hidden]), select, textarea")];
  return fields.find((field) => !field.disabled && field.checkVisibility() && empty(field)) ?? form.querySelector(".act, a");
}

/** Put the focus where the answer wants it: on the errors first, else where the next act begins. */
function arrive(root) {
  const place = root.matches?.(".errors") ? root : root.querySelector(".errors") ?? root.querySelector("[data-focus]");
  if (place) { place.focus(); return; }
  const form = root.querySelector("[data-begin]");
  if (form) begin(form)?.focus({ preventScroll: true });
}

// What was said of the last try does not outlive the next: after it, "nothing was saved" would be untrue.
document.addEventListener("htmx:beforeRequest", (event) => {
  if (event.detail.requestConfig.verb !== "get") region.querySelector(".is-lost")?.remove();
});
document.addEventListener("htmx:afterRequest", (event) => {
  for (const form of [...sent.keys()]) if (form === event.detail.elt || !form.isConnected) free(form);
});
document.addEventListener("htmx:afterSettle", (event) => { arrive(event.detail.elt); markMain(); });
document.addEventListener("htmx:responseError", async (event) => {
  const { status } = event.detail.xhr;
  if (status === 401) { sayLoggedOut(); return; }
  if (status === 403) await letIn().catch(() => {}); // with the new mark the same press may pass: said when it is there
  say(status === 403 ? region.dataset.refused : region.dataset.failed);
});
// Nobody knows here whether it was the act or only its answer that got lost.
for (const lost of ["htmx:sendError", "htmx:timeout"]) {
  document.addEventListener(lost, ({ detail }) => {
    say(detail.requestConfig.verb === "get" ? region.dataset.unreachable : region.dataset.unanswered);
  });
}

// A piece of a sheet can stand on a page of its own (another tab, a link kept): where the place it would change is
// missing, it is a plain form or link. htmx tells of each element before it listens to it, of those it brings in too.
const reached = (element, place) => {
  if (place.startsWith("closest ")) return element.closest(place.slice(8));
  return place.startsWith("#") ? document.querySelector(place) : element;
};
document.addEventListener("htmx:beforeProcessNode", ({ target }) => {
  const place = target.closest("[hx-target]")?.getAttribute("hx-target");
  if (!place || reached(target, place)) return;
  target.removeAttribute("hx-get");
  target.removeAttribute("hx-post");
});

const showKeys = (button) => button.setAttribute("aria-pressed", String(!localStorage.getItem(OFF)));
document.querySelectorAll("[data-single-keys]").forEach(showKeys);
markMain();
arrive(document);

// The bay begins at the open step: on a phone it fills the screen, elsewhere it is brought in when it does not fit. Only
// when every script has run: the pad makes a step taller.
addEventListener("DOMContentLoaded", () => {
  const step = document.querySelector(".step.open");
  if (!step || location.hash) return;
  const fits = step.getBoundingClientRect().bottom <= innerHeight && matchMedia("(width >= 40rem)").matches;
  if (!fits) step.scrollIntoView({ block: "start", behavior: "instant" });
});
