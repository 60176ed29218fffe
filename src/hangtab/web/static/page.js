// What every page does: "/" asks, readings select their words, suggestions drop from the box, rows open in place.
// Nothing here is needed to get an answer: forms and links do the same without it.
import { suggestions } from "./suggest.js";
import { openRows } from "./open.js";
import { watchFit } from "./fit.js";
import { singleKeysWork, typing } from "./keys.js";

const field = document.querySelector("#ask");

function selectReadings() {
  for (const span of document.querySelectorAll(".gloss .said")) {
    const button = document.createElement("button");
    button.type = "button";
    button.className = "press";
    button.textContent = span.textContent;
    button.title = "Say this differently";
    button.addEventListener("click", () => {
      field.focus();
      field.setSelectionRange(Number(span.dataset.start), Number(span.dataset.end));
    });
    span.replaceChildren(button);
  }
}

document.addEventListener("keydown", (event) => {
  if (event.key !== "/" || typing(event.target) || !singleKeysWork() || event.ctrlKey || event.metaKey || event.altKey) return;
  event.preventDefault();
  const here = field ?? document.querySelector("[data-slash]");
  if (!here) {
    location.assign("/");
    return;
  }
  here.focus();
  here.select();
});

if (field) {
  selectReadings();
  suggestions(field);
}
openRows(document.querySelector("table.comparables"));
watchFit(document.querySelectorAll("[data-fitting]"));
