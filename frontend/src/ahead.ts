// Looks ahead: while the hand rests on a control the server makes the next steps of it ready, and while an answer is being
// drawn the step after it. Nothing is shown of that; a step that was made ready is only answered sooner.
import { stepped } from "./controls";
import { asking, lastMoved, questionWith } from "./look";
import { lookSource } from "./part";

const REST_MS = 120;
let resting: number | undefined;
let underWay = false;

// Which control an element belongs to: a handle, a field, or one of the buttons beside it.
function controlOf(target: EventTarget | null): string | undefined {
  if (!(target instanceof Element)) return undefined;
  const handle = target.closest<SVGElement>(".handle");
  if (handle) return handle.dataset["control"];
  if (!target.closest("#controls .control")) return undefined;
  if (target instanceof HTMLButtonElement) return target.name === "step" ? target.value.split(":")[0] : undefined;
  return target instanceof HTMLInputElement || target instanceof HTMLSelectElement ? target.name : undefined;
}

async function lookAhead(name: string, steps: number[]): Promise<void> {
  if (underWay) return;
  underWay = true;
  try {
    for (const by of steps) {
      const value = stepped(name, by);
      const address = value === undefined ? null : questionWith(name, value);
      if (address) await fetch(address, { priority: "low" });
      if (asking()) return;
    }
  } catch {
    // No network: a look will say so.
  } finally {
    underWay = false;
  }
}

export function listenAhead(): void {
  document.addEventListener("focusin", (event) => {
    const name = controlOf(event.target);
    window.clearTimeout(resting);
    if (name) resting = window.setTimeout(() => void (asking() || lookAhead(name, [1, -1])), REST_MS);
  });
  // The answer has come and is about to be drawn: the server has nothing to do meanwhile.
  document.addEventListener("htmx:after:request", (event) => {
    const moved = event.target === lookSource && asking() ? lastMoved() : null;
    if (moved) void lookAhead(moved.name, [moved.by]);
  });
}
