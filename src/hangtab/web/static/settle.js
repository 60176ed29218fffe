// The keys of the item to settle. Arrows and Enter are the browser's own: the answers are real radio buttons in a form.
import { suggestions } from "./suggest.js";
import { setSingleKeys, singleKeysWork, typing } from "./keys.js";

const form = document.querySelector("#answer");
const radios = [...form.querySelectorAll("input[type=radio]")];
const keys = document.querySelector("#keys");
const box = document.querySelector("#single-keys");

box.checked = singleKeysWork();
box.addEventListener("change", () => setSingleKeys(box.checked));
radios.find((radio) => radio.checked)?.focus();

const own = document.querySelector("#own");
if (own) {
  suggestions(own, (option) => {
    if (!option.dataset.subject) {
      own.value = option.dataset.text;
      own.form.requestSubmit();
      return;
    }
    for (const radio of radios) radio.checked = false;
    for (const [name, value] of [["choice", option.dataset.subject], ["act", "take"]]) {
      const field = document.createElement("input");
      field.type = "hidden";
      field.name = name;
      field.value = value;
      form.append(field);
    }
    form.submit();
  });
}

const takeMarked = () => form.requestSubmit(form.querySelector("button[value=take]"));

document.addEventListener("keydown", (event) => {
  if (typing(event.target) || event.ctrlKey || event.metaKey || event.altKey || !singleKeysWork()) return;
  const key = event.key.toLowerCase();
  if (/^[1-9]$/.test(key) && radios[Number(key) - 1]) {
    radios[Number(key) - 1].checked = true;
    takeMarked();
  } else if (key === "?") {
    keys.open = !keys.open;
  } else if (key === "enter" && event.target === document.body && radios.length) {
    takeMarked();
  } else if ((key === "arrowdown" || key === "arrowup") && event.target === document.body) {
    radios.find((radio) => radio.checked)?.focus();
    return;
  } else {
    const pressed = document.querySelector(`[data-key="${CSS.escape(key)}"]`);
    if (!pressed) return;
    pressed.click();
  }
  event.preventDefault();
});
