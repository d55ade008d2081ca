// The number pad for thumbs. Without this file the pad stays hidden and the field is a plain one.

/** Show the pads under `root` and keep the device's own keyboard away from their fields. */
function open(root) {
  for (const box of root.querySelectorAll("[data-pad]")) {
    const pad = box.querySelector(".pad");
    if (!pad?.hidden) continue;
    pad.hidden = false;
    box.querySelector("input").inputMode = "none";
  }
}

/** What the field holds after a press: one decimal sign, no leading zeros, at most twelve characters. */
export function pressed(value, digit) {
  if (digit === null) return value.slice(0, -1);
  if (value.length >= 12) return value;
  if (/\d/.test(digit)) return value === "0" ? digit : value + digit;
  if (value.includes(digit)) return value;
  return (value || "0") + digit;
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
  input.value = pressed(input.value, button.dataset.digit ?? null);
  input.dispatchEvent(new Event("input", { bubbles: true }));
});

document.addEventListener("htmx:load", (event) => open(event.detail.elt.parentElement ?? document));
open(document);
