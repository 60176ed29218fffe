// What every page does: "/" focuses the search, readings can be pressed, rows open in place.
export const typing = (target) => target.matches("input:not([type=radio]), textarea, select, [contenteditable]");
export const singleKeys = () => localStorage.getItem("single-keys") !== "off";
