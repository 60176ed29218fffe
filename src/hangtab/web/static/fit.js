// While a new fit is made, ask how it stands; when it is there, say so and leave the page to the person who reads it.
const PAUSE = 3000; // ms; a fit takes tens of seconds

export function watchFit(lines) {
  if (!lines.length) return;
  const look = async () => {
    try {
      const state = await (await fetch("/fit/state")).json();
      if (state.fitting) {
        setTimeout(look, PAUSE);
        return;
      }
      for (const line of lines) {
        const again = document.createElement("a");
        again.href = location.href;
        again.textContent = "Show it";
        if (state.problem) line.textContent = `The fit failed: ${state.problem}`;
        else line.replaceChildren("A new fit is ready. ", again);
      }
    } catch {
      setTimeout(look, PAUSE);
    }
  };
  setTimeout(look, PAUSE);
}
