// A look: the plan with some controls moved, asked of the server. One question is under way at a time; what is moved
// meanwhile is asked next, and only the latest of it. What lies below (steps, kit, options) is marked as old at once and
// fetched when the hand rests.
import { fetchPart } from "./part";
import { HOURS } from "./steps";

const waiting = new Map<string, string>();
const REST_MS = 500;
let underWay = false;
let inQuestion: URLSearchParams | null = null;
let resting: number | undefined;
let asked = false;

export type Field = HTMLInputElement | HTMLSelectElement;

export function controlsForm(): HTMLFormElement | null {
  return document.querySelector<HTMLFormElement>("#controls");
}

export function fieldOf(name: string): Field | null {
  // A button may bear the name of a field; the field is meant.
  const fields = controlsForm()?.querySelectorAll<Field>(`input[name="${name}"], select[name="${name}"]`);
  return fields?.[0] ?? null;
}

// The value that a control will have once all questions are answered.
export function valueOf(name: string): string {
  return waiting.get(name) ?? fieldOf(name)?.value ?? "";
}

// Move a control: shown at once in its field, answered as soon as the server is free.
export function move(name: string, value: string): void {
  const field = fieldOf(name);
  if (!field || valueOf(name) === value) return;
  field.value = value;
  ask(name, value);
}

// What was moved last, and which way.
let last: { name: string; by: number } | null = null;

export function lastMoved(): { name: string; by: number } | null {
  return last;
}

// A look is under way.
export function asking(): boolean {
  return underWay;
}

// Ask for the plan with this value, which already stands in the field.
export function ask(name: string, value: string): void {
  const by = Number(value) - Number(waiting.get(name) ?? inQuestion?.get(name) ?? fieldOf(`was_${name}`)?.value);
  const turns = fieldOf(name)?.dataset["turns"] !== undefined;
  last = { name, by: (turns ? ((by + 1.5 * HOURS) % HOURS) - HOURS / 2 : by) < 0 ? -1 : 1 };
  // Enter in a field is a change and a submission of one value: one question.
  if (underWay && !waiting.has(name) && inQuestion?.get(name) === value) return;
  waiting.set(name, value);
  if (asked || underWay) return;
  asked = true;
  // At once, not with the next frame: what moves meanwhile waits for the answer anyway.
  queueMicrotask(() => {
    asked = false;
    void answerAll();
  });
}

async function answerAll(): Promise<void> {
  if (underWay) return;
  underWay = true;
  window.clearTimeout(resting);
  let address = "";
  try {
    while (waiting.size > 0) {
      const form = controlsForm();
      if (!form) break;
      const query = questionOf(form);
      inQuestion = query;
      waiting.clear();
      document.documentElement.toggleAttribute("data-asking", true);
      document.querySelector("#below")?.setAttribute("aria-busy", "true");
      address = `${form.getAttribute("action") ?? ""}?${query}`;
      // Refused: the page stands as it did, and so does what lies below.
      if (!(await fetchPart("look", address, unfolded))) address = "";
      // What was moved while the answer was on its way must not be hidden by it.
      for (const [name, value] of waiting) {
        const field = fieldOf(name);
        if (field) field.value = value;
      }
    }
  } finally {
    underWay = false;
    // One that was opened while the answer was on its way.
    void unfold();
    document.documentElement.toggleAttribute("data-asking", false);
    if (address === "") document.querySelector("#below")?.removeAttribute("aria-busy");
    else resting = window.setTimeout(() => void answerBelow(address), REST_MS);
  }
}

// Where the server makes a look ready that has this control at that value; null where that is what is looked at.
export function questionWith(name: string, value: string): string | null {
  const form = controlsForm();
  const action = form?.getAttribute("action");
  if (!form || !action || valueOf(name) === value) return null;
  const query = questionOf(form);
  if (ENDS.includes(name)) query.set("weak_hours", valueOf("weak_hours"));
  query.set(name, value);
  return `${action.replace(/margins$/, "ahead")}?${query}`;
}

// Under a moving hand a closed foldout comes empty. What it holds comes when it is opened, and with each look while it is open.
const LATER = "#look details[open] [data-later]";

function unfolded(): Record<string, string> {
  const ids = [...document.querySelectorAll("#look details[open][id]")].map((details) => details.id);
  return { "X-Forestay-Unfolded": ids.join(" ") };
}

async function unfold(): Promise<void> {
  if (document.querySelector(LATER)) await fetchPart("look", location.pathname + location.search, unfolded);
}

export function listenToFoldouts(): void {
  document.addEventListener("toggle", () => void (underWay || unfold()), true);
}

async function answerBelow(address: string): Promise<void> {
  if (document.querySelector("#below")) {
    await fetchPart("below", address);
    // A newer look has begun meanwhile: what came is old already.
    if (underWay) document.querySelector("#below")?.setAttribute("aria-busy", "true");
  }
}

// The controls that were moved: those held by the page shown, those whose field differs, those waiting.
function questionOf(form: HTMLFormElement): URLSearchParams {
  const query = new URLSearchParams();
  const held = new Set((fieldOf("held")?.value ?? "").split(" "));
  for (const was of form.querySelectorAll<HTMLInputElement>('input[name^="was_"]')) {
    const name = was.name.slice("was_".length);
    const value = valueOf(name);
    if (value !== "" && !name.startsWith("weak_") && (held.has(name) || waiting.has(name) || value !== was.value)) query.set(name, value);
  }
  gapInto(query, held);
  return query;
}

// The gap: what stands in the page, and the ends that were moved from there; the server joins them.
const ENDS = ["weak_from", "weak_to"];

function gapInto(query: URLSearchParams, held: Set<string>): void {
  const gap = valueOf("weak_hours");
  const ends = waiting.has("weak_hours") ? [] : ENDS.filter((name) => moved(name));
  if (gap === "" || !(ends.length > 0 || held.has("weak_hours") || moved("weak_hours"))) return;
  query.set("weak_hours", gap);
  for (const name of ends) query.set(name, valueOf(name));
}

function moved(name: string): boolean {
  return waiting.has(name) || (fieldOf(name) !== null && valueOf(name) !== fieldOf(`was_${name}`)?.value);
}
