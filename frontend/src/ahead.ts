// Looks ahead: while the hand rests on a control the server makes the next steps of it ready. Nothing is shown of that; a
// step that was made ready is only answered sooner.
import { stepped } from "./controls";
import { asking, lastMoved, questionWith } from "./look";

const REST_MS = 120;
const DRAWN_MS = 60;
let resting: number | undefined;
let underWay: Promise<unknown> = Promise.resolve();
let latest = 0;

// Which control an element belongs to: a handle, a field, or one of the buttons beside it.
function controlOf(target: EventTarget | null): string | undefined {
  if (!(target instanceof Element)) return undefined;
  const handle = target.closest<SVGElement>(".handle");
  if (handle) return handle.dataset["control"];
  if (!target.closest("#controls .control")) return undefined;
  if (target instanceof HTMLButtonElement) return target.name === "step" ? target.value.split(":")[0] : undefined;
  return target instanceof HTMLInputElement || target instanceof HTMLSelectElement ? target.name : undefined;
}

// Of several wishes the latest counts: the hand is there now.
async function lookAhead(name: string, steps: number[]): Promise<void> {
  const turn = ++latest;
  await underWay;
  for (const by of steps) {
    const value = stepped(name, by);
    const address = value === undefined || turn !== latest ? null : questionWith(name, value);
    if (!address) continue;
    // No network: a look will say so.
    underWay = fetch(address, { priority: "low" }).then(() => undefined, () => undefined);
    await underWay;
  }
}

export function listenAhead(): void {
  document.addEventListener("focusin", (event) => {
    const name = controlOf(event.target);
    window.clearTimeout(resting);
    if (name) resting = window.setTimeout(() => void (asking() || lookAhead(name, [1, -1])), REST_MS);
  });
  // Once the answer is drawn, for drawing needs the machine too, and unless the hand has gone on meanwhile.
  document.addEventListener("htmx:after:swap", () => {
    const moved = asking() ? lastMoved() : null;
    if (!moved) return;
    window.clearTimeout(resting);
    resting = window.setTimeout(() => void (asking() || lookAhead(moved.name, [moved.by])), DRAWN_MS);
  });
}
