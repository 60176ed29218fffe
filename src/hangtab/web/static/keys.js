// Single keys: off while a person types, and for good when a person says so.
export const typing = (target) =>
  target instanceof HTMLElement && target.matches("input:not([type=radio], [type=checkbox]), textarea, select, [contenteditable]");

export function singleKeysWork() {
  try {
    return localStorage.getItem("single-keys") !== "off";
  } catch {
    return true;
  }
}

export function setSingleKeys(on) {
  try {
    localStorage.setItem("single-keys", on ? "on" : "off");
  } catch {
    // A browser without storage keeps the default.
  }
}
