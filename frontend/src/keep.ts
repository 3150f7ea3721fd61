// Keeps the reader's place while the main part is replaced: what was open stays open, what was being typed stays
// written, a focused handle stays focused, and what changed in the drawing is left as a ghost that fades.

const TRACES =
  ".capsulorhexis, .opening, .outer-lip, .inner-lip, .hook, .capsule-hook, .ring, .eyelet, .gap, .bag, .nucleus";
const FADE_MS = 1400;
let swapped = Number.NEGATIVE_INFINITY;
let open: string[] = [];
let drafts: { id: string; value: string }[] = [];
let focused: string | null = null;
let stood: { head: number; top: number | null } = { head: 0, top: null };
let before: { lines: SVGElement[]; scale: string | null } = { lines: [], scale: null };

function picture(): SVGSVGElement | null {
  return document.querySelector<SVGSVGElement>("svg.eye-above");
}

function traces(svg: SVGSVGElement | null): SVGElement[] {
  return svg ? [...svg.querySelectorAll<SVGElement>(TRACES)].filter((line) => !line.closest(".ghost, .key")) : [];
}

function remember(): void {
  document.querySelector(".ghost")?.remove();
  open = [...document.querySelectorAll<HTMLDetailsElement>("#main details[open][id]")].map((details) => details.id);
  drafts = [document.querySelector("#reason"), document.activeElement]
    .filter((field) => field instanceof HTMLInputElement && field.id !== "" && field.value !== field.defaultValue)
    .map((field) => ({ id: (field as HTMLInputElement).id, value: (field as HTMLInputElement).value }));
  const handle = document.activeElement?.closest<SVGGElement>(".handle");
  focused = handle?.dataset["control"] ?? null;
  stood = {
    head: document.querySelector(".decision")?.getBoundingClientRect().height ?? 0,
    top: picture()?.getBoundingClientRect().top ?? null,
  };
  // While the hand moves, the ghost stays what stood before the hand began.
  const goesOn = performance.now() - swapped < FADE_MS;
  swapped = performance.now();
  if (goesOn) return;
  const svg = picture();
  before = {
    lines: traces(svg).map((line) => line.cloneNode() as SVGElement),
    scale: svg?.getAttribute("data-scale") ?? null,
  };
}

// The drawing stays where it stood on the screen: what stands above it may grow, and then the page moves on; where it
// would shrink, its room is kept.
function stay(): void {
  const head = document.querySelector<HTMLElement>("#look .decision");
  if (!head || stood.top === null) return;
  head.style.minHeight = `${stood.head}px`;
  const top = picture()?.getBoundingClientRect().top;
  if (top !== undefined && top !== stood.top) window.scrollBy(0, top - stood.top);
}

function refocus(): void {
  stay();
  for (const draft of drafts) {
    const field = document.getElementById(draft.id);
    if (field instanceof HTMLInputElement && field.value === field.defaultValue) field.value = draft.value;
  }
  if (focused) {
    document.querySelector<SVGGElement>(`.handle[data-control="${focused}"]:not(.twin)`)?.focus({ preventScroll: true });
  }
}

function restore(): void {
  for (const id of open) {
    const details = document.getElementById(id);
    if (details instanceof HTMLDetailsElement) details.open = true;
  }
  ghost();
  tell();
  const said = document.querySelector("#said");
  if (said) said.textContent = document.querySelector<HTMLElement>("#look")?.dataset["said"] ?? "";
}

// A live region that came with the part is heard only when its text comes anew.
function tell(): void {
  const line = document.querySelector("#changed");
  const text = line?.textContent ?? "";
  if (line) requestAnimationFrame(() => line.replaceChildren(text));
}

function ghost(): void {
  const svg = picture();
  if (!svg || svg.getAttribute("data-scale") !== before.scale) return;
  const now = new Set(traces(svg).map((line) => line.cloneNode() as SVGElement).map((line) => line.outerHTML));
  const gone = before.lines.filter((line) => !now.has(line.outerHTML));
  if (gone.length === 0) return;
  const group = document.createElementNS("http://www.w3.org/2000/svg", "g");
  group.setAttribute("class", "ghost");
  group.setAttribute("aria-hidden", "true");
  group.append(...gone);
  svg.insertBefore(group, svg.querySelector(".handles"));
  group.addEventListener("animationend", () => group.remove());
}

export function keepPlace(): void {
  document.addEventListener("htmx:before:swap", remember);
  // Fired at once after the new part stands in the page, so that no key is lost in between.
  document.addEventListener("htmx:before:settle", refocus);
  document.addEventListener("htmx:after:swap", restore);
}
