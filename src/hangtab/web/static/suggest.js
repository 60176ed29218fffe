// Suggestions under the search box: asked for once typing rests, arrows move the mark, Enter takes it, Escape closes.
const REST = 80; // ms; shorter asks for words that are still being typed

// `taken` is given the chosen option; without it the page of its worth is opened.
export function suggestions(field, taken) {
  const list = document.createElement("ul");
  list.className = "suggested";
  list.id = "suggested";
  list.role = "listbox";
  list.setAttribute("aria-label", "Suggestions");
  list.hidden = true;
  field.parentElement.append(list);
  field.role = "combobox";
  for (const [name, value] of [["controls", list.id], ["expanded", "false"], ["autocomplete", "list"]]) {
    field.setAttribute(`aria-${name}`, value);
  }
  const state = { timer: 0, asked: null, marked: -1 };

  const close = () => {
    list.hidden = true;
    state.marked = -1;
    field.setAttribute("aria-expanded", "false");
    field.removeAttribute("aria-activedescendant");
  };

  const mark = (index) => {
    const options = [...list.children];
    state.marked = (index + options.length + 1) % (options.length + 1);
    if (state.marked === options.length) state.marked = -1;
    options.forEach((option, i) => option.setAttribute("aria-selected", String(i === state.marked)));
    if (state.marked < 0) field.removeAttribute("aria-activedescendant");
    else field.setAttribute("aria-activedescendant", options[state.marked].id);
  };

  const take = (option) => {
    if (taken) {
      taken(option);
      return;
    }
    const query = new URLSearchParams({ q: option.dataset.text });
    if (option.dataset.subject) query.set("subject", option.dataset.subject);
    const price = field.form.elements.namedItem("price").value;
    if (price) query.set("price", price);
    location.assign(`/?${query}`);
  };

  const show = (found) => {
    list.replaceChildren(...found.map((one, i) => {
      const option = document.createElement("li");
      const kind = document.createElement("i");
      option.id = `suggested-${i}`;
      option.role = "option";
      option.setAttribute("aria-selected", "false");
      option.dataset.text = one.text;
      option.dataset.subject = one.subject;
      option.textContent = one.text;
      kind.textContent = one.kind;
      option.append(kind);
      option.addEventListener("mousedown", (event) => event.preventDefault());
      option.addEventListener("click", () => take(option));
      return option;
    }));
    state.marked = -1;
    list.hidden = found.length === 0;
    field.setAttribute("aria-expanded", String(found.length > 0));
  };

  const ask = async () => {
    state.asked?.abort();
    const text = field.value.trim();
    if (!text) {
      close();
      return;
    }
    state.asked = new AbortController();
    try {
      const reply = await fetch(`/api/suggest?${new URLSearchParams({ text })}`, { signal: state.asked.signal });
      if (reply.ok && document.activeElement === field) show(await reply.json());
    } catch (error) {
      if (error.name !== "AbortError") close();
    }
  };

  field.addEventListener("input", () => {
    clearTimeout(state.timer);
    state.timer = setTimeout(ask, REST);
  });
  field.addEventListener("blur", close);
  field.addEventListener("keydown", (event) => {
    if (list.hidden || event.isComposing) return;
    if (event.key === "ArrowDown") mark(state.marked + 1);
    else if (event.key === "ArrowUp") mark(state.marked < 0 ? list.children.length - 1 : state.marked - 1);
    else if (event.key === "Escape") close();
    else if (event.key === "Enter" && state.marked >= 0) take(list.children[state.marked]);
    else return;
    event.preventDefault();
  });
  field.form.addEventListener("submit", () => {
    clearTimeout(state.timer);
    state.asked?.abort();
  });
}
