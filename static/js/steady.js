// The bay: a step that has just come waits before its acts can be pressed. A second tap, or a key held down, was meant
// for the step before it. (The server asks too: each act names the step it was shown with.) The second act of a hold
// point waits for the keys alone that opened it: a finger has to go to another place.

const WAIT = 700; // ms; a double tap takes 250 to 400
const ACTS = "button, summary, [type=radio], [type=checkbox], a.act";

let step = null;
let until = 0;
let waiting;
let held = false;
let opened = -WAIT; // when a hold point's second act was opened

/** Let the acts of a step that is new on the screen wait; the focus stays where it is. */
function wait() {
  const now = document.getElementById("open-step");
  if (now === step) return;
  step = now;
  if (!step) return;
  until = performance.now() + WAIT;
  for (const act of step.querySelectorAll(ACTS)) act.setAttribute("aria-disabled", "true");
  clearTimeout(waiting);
  waiting = setTimeout(() => {
    for (const act of document.querySelectorAll("#open-step [aria-disabled]")) act.removeAttribute("aria-disabled");
  }, WAIT);
}

const inside = (event) => Boolean(step?.contains(event.target));
const early = (event) => inside(event) && event.timeStamp < until;
const chord = (event) => event.key === "Enter" && (event.ctrlKey || event.metaKey);
const twice = (event) => chord(event) && event.timeStamp < opened + WAIT;

/** Stop what came too early, and say so where a screen reader hears it. */
function refuse(event) {
  const status = document.getElementById("spoken");
  if (status) status.textContent = status.dataset.wait;
  stop(event);
}

function stop(event) {
  event.preventDefault();
  event.stopImmediatePropagation();
}

/** Whether a key would press or send something where it is pressed, and not only write. */
function presses(event) {
  if (event.key === "Enter") return chord(event) || !event.target.matches("textarea");
  return event.key === " " && event.target.matches(ACTS);
}

// On the window, before any other script hears of it: a form that is not sent must not be marked as sent.
addEventListener("keydown", (event) => {
  if (!inside(event) || !presses(event) || !(event.repeat || early(event) || twice(event))) return;
  held = true; // until it is let go: some browsers press a button only then
  refuse(event);
}, true);
addEventListener("keyup", (event) => {
  if (held && presses(event)) stop(event);
  held = false;
}, true);
addEventListener("click", (event) => {
  if (early(event)) refuse(event);
  else if (held && inside(event)) stop(event);
}, true);
addEventListener("submit", (event) => {
  if (early(event)) stop(event);
}, true);

addEventListener("toggle", (event) => {
  if (event.target.matches(".second") && event.newState === "open") opened = event.timeStamp;
}, true);

// What is typed at the step stays when the answer to another of its forms, a note, brings them all anew. Their fields
// are named after the step and the act, so nothing is carried to another one.
let typed = [];
const FIELDS = "#open-step :is(input:not([type=hidden], [type=password], [type=file]), select, textarea)[id]";
document.addEventListener("htmx:beforeSwap", ({ detail }) => {
  const fields = [...document.querySelectorAll(FIELDS)];
  const others = fields.filter(({ form }) => form !== detail.requestConfig.elt);
  typed = others.map(({ id, value, checked }) => ({ id, value, checked }));
});
document.addEventListener("htmx:afterSwap", () => {
  for (const { id, ...was } of typed) Object.assign(document.getElementById(id) ?? {}, was);
});

document.addEventListener("htmx:afterSwap", wait);
wait();
