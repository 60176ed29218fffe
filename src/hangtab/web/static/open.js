// A row of the comparables opens its all-in steps and its source beneath it; pressed again it closes.
export function openRows(table) {
  table?.addEventListener("click", async (event) => {
    const link = event.target.closest("a[data-open]");
    if (!link || event.ctrlKey || event.metaKey || event.shiftKey || event.button !== 0) return;
    event.preventDefault();
    const row = link.closest("tr");
    const links = row.querySelectorAll("a[data-open]");
    const setOpen = (open) => links.forEach((one) => one.setAttribute("aria-expanded", String(open)));
    const after = row.nextElementSibling?.classList.contains("workrow") ? row.nextElementSibling : row;
    const there = after.nextElementSibling;
    if (there?.classList.contains("opened")) {
      there.remove();
      setOpen(false);
      return;
    }
    const reply = await fetch(link.dataset.open);
    if (after.nextElementSibling?.classList.contains("opened")) return;
    const opened = document.createElement("tr");
    const cell = document.createElement("td");
    opened.className = "opened";
    cell.colSpan = row.cells.length;
    cell.innerHTML = await reply.text(); // our own template, every value in it escaped
    opened.append(cell);
    after.after(opened);
    setOpen(true);
  });
}
