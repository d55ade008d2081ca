// The number pad for thumbs. Without this file the pad stays hidden and the field is a plain one.

/** Show the pads under `root` and keep the device's own keyboard away from their fields. */
function open(root) {
  for (const box of root.querySelectorAll("[data-pad]")) {
    const pad = box.querySelector(".pad");
    if (!pad?.hidden) continue;
    pad.hidden = false;
    box.querySelector("input").inputMode = "none";
    say(box);
  }
}

/** A typed reading in its two parts: the number, and the unit after it. */
const parts = (value) => value.match(/^\s*([\d.,/ ]*?)\s*([^\d.,/ ].*)?$/)?.slice(1).map((part) => part ?? "") ?? [value, ""];

/** What the field holds after a press: one decimal sign, no leading zeros, at most twelve characters; the unit stays. */
export function pressed(value, digit) {
  const [number, unit] = parts(value);
  const now = numberAfter(number, digit);
  return now && unit ? `${now} ${unit}` : now;
}

function numberAfter(number, digit) {
  if (digit === null) return number.slice(0, -1);
  if (number.length >= 12) return number;
  if (/\d/.test(digit)) return number === "0" ? digit : number + digit;
  if (number.includes(digit)) return number;
  return (number || "0") + digit;
}

/** The unit that counts: the one that is typed, else the step's own, which is the first key's. */
function say(box) {
  const [number, typed] = parts(box.querySelector("input").value);
  const keys = [...box.querySelectorAll("[data-unit]")];
  const unit = typed || keys[0]?.textContent || "";
  for (const key of keys) key.setAttribute("aria-pressed", String(key.textContent === unit));
  const told = box.closest("form")?.querySelector("[data-records]");
  if (told) told.textContent = number ? `${told.dataset.records}, ${number} ${unit}`.trimEnd() : told.dataset.records;
}

document.addEventListener("click", (event) => {
  const button = event.target.closest("[data-pad] .pad button");
  if (!button) return;
  const input = button.closest("[data-pad]").querySelector("input");
  if ("keyboard" in button.dataset) {  // "3/4 qt" has no keys on the pad
    input.inputMode = "text";
    input.focus();
    return;
  }
  if ("unit" in button.dataset) input.value = `${parts(input.value)[0]} ${button.textContent}`.trimStart();
  else input.value = pressed(input.value, button.dataset.digit ?? null);
  input.dispatchEvent(new Event("input", { bubbles: true }));
});

document.addEventListener("input", (event) => {
  const box = event.target.closest("[data-pad]");
  if (box) say(box);
});
document.addEventListener("htmx:load", (event) => open(event.detail.elt.parentElement ?? document));
open(document);
