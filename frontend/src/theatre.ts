// Theatre: keys and foot pedal press what is on the screen, the timer counts, the wall follows. What is pressed is a plain
// form: the page works without this file.

import { isLive } from "./live";

const FOLLOW_MS = 3000;
const TICK_MS = 1000;
const KEPT = "keys-off";

function page(): HTMLElement | null {
  return document.querySelector<HTMLElement>("main.theatre[data-address]");
}

function typing(): boolean {
  const at = document.activeElement;
  return at instanceof HTMLInputElement ? at.type !== "checkbox" : at instanceof HTMLSelectElement || at instanceof HTMLTextAreaElement;
}

const PRESSES: Record<string, string> = {
  PageDown: "next",
  ArrowRight: "next",
  PageUp: "back",
  ArrowLeft: "back",
  Backspace: "undo",
};

function press(event: KeyboardEvent): void {
  if (!page() || typing() || event.altKey || event.ctrlKey || event.metaKey || event.repeat) return;
  const on = document.querySelector<HTMLInputElement>("#keys-on");
  if (!on?.checked) return;
  const named = PRESSES[event.key];
  const target = named
    ? document.querySelector<HTMLElement>(`[data-press="${named}"]`)
    : /^[1-9]$/.test(event.key)
      ? document.querySelector<HTMLElement>(`[data-key="${event.key}"]`)
      : null;
  if (!target) return;
  event.preventDefault();
  target.click();
}

function tick(): void {
  const started = page()?.dataset["started"];
  const timer = document.querySelector("#timer");
  if (!started || !timer) return;
  const seconds = Math.max(0, Math.floor((Date.now() - Date.parse(started)) / 1000));
  timer.textContent = `${Math.floor(seconds / 60)}:${String(seconds % 60).padStart(2, "0")}`;
}

async function follow(): Promise<void> {
  const wall = document.querySelector<HTMLElement>("main.theatre.wall");
  if (!wall || isLive()) return;
  try {
    const answer = await fetch(window.location.href, { headers: { "X-Forestay-By-Itself": "1" } });
    if (!answer.ok) return;
    const fresh = new DOMParser().parseFromString(await answer.text(), "text/html").querySelector("main.theatre");
    if (fresh && fresh.textContent !== wall.textContent) wall.replaceWith(fresh);
  } catch {
    // No answer: the wall keeps what it shows, and asks again.
  }
}

export function listenInTheatre(): void {
  if (!page()) return;
  const on = document.querySelector<HTMLInputElement>("#keys-on");
  if (on) {
    on.checked = localStorage.getItem(KEPT) === null;
    on.addEventListener("change", () => {
      if (on.checked) localStorage.removeItem(KEPT);
      else localStorage.setItem(KEPT, "1");
    });
  }
  // One press, one fact: a second press on the way is the same form with the same identity.
  document.addEventListener("keydown", press);
  window.setInterval(tick, TICK_MS);
  window.setInterval(() => void follow(), FOLLOW_MS);
  tick();
}
