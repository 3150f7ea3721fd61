// Forms of facts: each field is checked while it is typed, and kept on a pause or when it is left. What the page says of it
// is the server's answer, row by row; a field that could not be sent says so and is sent again with the same identity.
import { fetchPart } from "./part";
import { words } from "./words";

const CHECK_MS = 350;
const PAUSE_MS = 1500;
const AGAIN_MS = 4000;
const REST_MS = 700;

interface Waiting {
  check?: number;
  save?: number;
  sending: boolean;
  again: boolean;
}

const rows = new WeakMap<HTMLElement, Waiting>();
let resting: number | undefined;

function waitingOf(row: HTMLElement): Waiting {
  const known = rows.get(row) ?? { sending: false, again: false };
  rows.set(row, known);
  return known;
}

function rowOf(target: EventTarget | null): HTMLElement | null {
  return target instanceof Element ? target.closest<HTMLElement>("form.entry-form .entry-row") : null;
}

function pathOf(row: HTMLElement): string {
  return row.dataset["path"] ?? "";
}

function formOf(row: HTMLElement): HTMLFormElement | null {
  return row.closest("form");
}

// The fields of one row as they would be sent.
function sentOf(row: HTMLElement): URLSearchParams {
  const sent = new URLSearchParams();
  for (const field of row.querySelectorAll<HTMLInputElement | HTMLSelectElement>("input[name], select[name]")) {
    if (field instanceof HTMLInputElement && field.type === "checkbox" && !field.checked) continue;
    sent.append(field.name, field.value);
  }
  return sent;
}

function textOf(row: HTMLElement): string {
  const sent = sentOf(row);
  const path = pathOf(row);
  const method = sent.get(`method_${path}`);
  return [...sent.getAll(path), ...(method === null ? [] : [method])].join(" ").trim();
}

export function changed(row: HTMLElement): boolean {
  return textOf(row) !== (sentOf(row).get(`was_${pathOf(row)}`) ?? "");
}

function say(row: HTMLElement, state: string, words: string): void {
  const said = row.querySelector<HTMLElement>(".state");
  if (!said) return;
  said.dataset["state"] = state;
  if (said.textContent !== words) said.textContent = words;
}

const WORDS = document.documentElement.dataset;

// Which field it is, and, where somebody is signed in, that it comes from this session.
function sentAs(row: HTMLElement): Record<string, string> {
  const label = row.querySelector(".name")?.textContent ?? pathOf(row);
  const told = { "X-Row": pathOf(row), "X-Forestay-Words": encodeURIComponent(`${label}: ${textOf(row)}`) };
  const token = document.querySelector<HTMLMetaElement>('meta[name="forestay-token"]')?.content;
  return token ? { ...told, "X-Forestay-Token": token } : told;
}

function partOf(text: string): Document {
  return new DOMParser().parseFromString(text, "text/html");
}

async function check(row: HTMLElement): Promise<void> {
  const form = formOf(row);
  if (!form) return;
  const text = textOf(row);
  try {
    const answer = await fetch(`${form.action}/check?${sentOf(row)}`, { headers: { "X-Row": pathOf(row) } });
    if (!answer.ok || textOf(row) !== text) return;
    const notes = partOf(await answer.text()).querySelector(".notes");
    if (notes) row.querySelector(".notes")?.replaceWith(notes);
  } catch {
    // No answer: the check comes with the next one, and the row says so when it is to be kept.
  }
}

async function save(row: HTMLElement): Promise<void> {
  const waiting = waitingOf(row);
  window.clearTimeout(waiting.save);
  window.clearTimeout(waiting.check);
  if (waiting.sending) {
    waiting.again = true;
    return;
  }
  const form = formOf(row);
  if (!form || !changed(row)) {
    if (row.querySelector<HTMLElement>(".state")?.dataset["state"] === "unsaved") say(row, "", "");
    return;
  }
  const text = textOf(row);
  const body = sentOf(row);
  body.set("key", row.dataset["key"] ?? "");
  body.set("based_on", row.dataset["head"] ?? "");
  waiting.sending = true;
  say(row, "saving", WORDS["saving"] ?? "saving");
  try {
    const answer = await fetch(form.action, { method: "POST", body, headers: sentAs(row), keepalive: true });
    if (answer.headers.has("X-Forestay-Waits")) return takeWaiting(row, text);
    if (answer.status >= 500 || answer.status === 429) throw new Error(String(answer.status));
    take(row, await answer.text(), textOf(row) === text);
    if (answer.ok) refreshSoon();
  } catch {
    say(row, "not-saved", WORDS["notSaved"] ?? "not saved");
    waiting.save = window.setTimeout(() => void save(row), AGAIN_MS);
  } finally {
    waiting.sending = false;
  }
  if (waiting.again) {
    waiting.again = false;
    if (changed(row)) void save(row);
  }
}

// No network: the entry is kept on this device. What is typed next is another entry.
function takeWaiting(row: HTMLElement, text: string): void {
  const was = row.querySelector<HTMLInputElement>(`input[name="was_${pathOf(row)}"]`);
  if (was) was.value = text;
  row.dataset["key"] = crypto.randomUUID();
  say(row, "waits", words("waits"));
}

// A row shows an entry that waits on this device.
export function fillRow(path: string, form: URLSearchParams, said: string): void {
  const row = document.querySelector<HTMLElement>(`.entry-row[data-path="${CSS.escape(path)}"]`);
  if (!row) return;
  for (const name of [path, `method_${path}`]) {
    const values = form.getAll(name);
    for (const field of row.querySelectorAll<HTMLInputElement | HTMLSelectElement>(`[name="${name}"]`)) {
      if (field instanceof HTMLInputElement && field.type === "checkbox") field.checked = values.includes(field.value);
      else if (values[0] !== undefined) field.value = values[0];
    }
  }
  const was = row.querySelector<HTMLInputElement>(`input[name="was_${path}"]`);
  if (was) was.value = textOf(row);
  say(row, "waits", said);
}

// The row as the server has it now. What is being typed meanwhile stays.
function take(row: HTMLElement, text: string, settled: boolean): void {
  const page = partOf(text);
  const fresh = page.querySelector<HTMLElement>(".entry-row");
  if (!fresh) return;
  const path = pathOf(row);
  for (const name of ["key", "head"]) row.dataset[name] = fresh.dataset[name] ?? "";
  const was = row.querySelector<HTMLInputElement>(`input[name="was_${path}"]`);
  const now = fresh.querySelector<HTMLInputElement>(`input[name="was_${path}"]`);
  if (was && now) was.value = now.value;
  if (settled) {
    const focused = row.contains(document.activeElement);
    if (!focused) takeValue(row, fresh, path);
    const about = fresh.querySelector(".row-said");
    const old = row.querySelector(".row-said");
    const inAbout = old?.contains(document.activeElement) ?? false;
    if (about) old?.replaceWith(about);
    if (inAbout) row.querySelector<HTMLElement>("input:not([type=hidden]), select")?.focus();
  }
  document.getElementById(`${row.id}-dispute`)?.remove();
  const dispute = page.querySelector(".dispute");
  if (dispute) formOf(row)?.after(dispute);
}

function takeValue(row: HTMLElement, fresh: HTMLElement, path: string): void {
  const fields = row.querySelectorAll<HTMLInputElement | HTMLSelectElement>(`[name="${path}"], [name="method_${path}"]`);
  const values = fresh.querySelectorAll<HTMLInputElement | HTMLSelectElement>(`[name="${path}"], [name="method_${path}"]`);
  fields.forEach((field, at) => {
    const other = values[at];
    if (!other) return;
    if (field instanceof HTMLInputElement && other instanceof HTMLInputElement && field.type === "checkbox") {
      field.checked = other.checked;
    } else field.value = other.value;
  });
}

// The plan follows when the hand rests; the forms stay as they are.
function refreshSoon(): void {
  const main = document.querySelector<HTMLElement>("main.case");
  if (!main) return;
  window.clearTimeout(resting);
  document.querySelector("#below")?.setAttribute("aria-busy", "true");
  resting = window.setTimeout(() => void refresh(main), REST_MS);
}

async function refresh(main: HTMLElement): Promise<void> {
  const address = `/cases/${main.dataset["case"] ?? ""}?since=${main.dataset["head"] ?? ""}`;
  for (const part of ["look", "below"] as const) await fetchPart(part, address);
}

async function undo(button: HTMLButtonElement, row: HTMLElement): Promise<void> {
  const form = formOf(row);
  if (!form) return;
  const body = new URLSearchParams({
    path: pathOf(row),
    fact: button.dataset["fact"] ?? "",
    key: row.dataset["key"] ?? "",
    based_on: row.dataset["head"] ?? "",
  });
  try {
    const answer = await fetch(`${form.action}/undo`, { method: "POST", body, headers: sentAs(row) });
    if (answer.headers.has("X-Forestay-Waits")) return takeWaiting(row, textOf(row));
    if (!answer.ok) throw new Error(String(answer.status));
    const text = await answer.text();
    const fresh = partOf(text).querySelector<HTMLElement>(".entry-row");
    take(row, text, true);
    if (fresh) takeValue(row, fresh, pathOf(row));
    row.querySelector<HTMLElement>("input:not([type=hidden]), select")?.focus();
    refreshSoon();
  } catch {
    say(row, "not-saved", WORDS["notSaved"] ?? "not saved");
  }
}

function onlyNone(target: EventTarget | null, row: HTMLElement): void {
  if (!(target instanceof HTMLInputElement) || target.type !== "checkbox" || !target.checked) return;
  for (const box of row.querySelectorAll<HTMLInputElement>("input[type=checkbox]")) {
    if (box !== target && (target.value === "none" || box.value === "none")) box.checked = false;
  }
}

export function listenToEntry(): void {
  document.addEventListener("input", (event) => {
    const row = rowOf(event.target);
    if (!row) return;
    onlyNone(event.target, row);
    const waiting = waitingOf(row);
    window.clearTimeout(waiting.check);
    window.clearTimeout(waiting.save);
    say(row, "unsaved", WORDS["unsaved"] ?? "");
    waiting.check = window.setTimeout(() => void check(row), CHECK_MS);
    waiting.save = window.setTimeout(() => void save(row), PAUSE_MS);
  });
  document.addEventListener("change", (event) => {
    const row = rowOf(event.target);
    if (row) void save(row);
  });
  document.addEventListener("submit", (event) => {
    if (!(event.target instanceof HTMLFormElement) || !event.target.matches("form.entry-form")) return;
    event.preventDefault();
    const row = rowOf(document.activeElement);
    if (row) void save(row);
  });
  document.addEventListener("click", (event) => {
    const button = event.target instanceof Element ? event.target.closest<HTMLButtonElement>("button.undo") : null;
    const row = rowOf(button);
    if (button && row) void undo(button, row);
  });
  document.addEventListener("visibilitychange", () => {
    if (document.visibilityState !== "hidden") return;
    for (const row of document.querySelectorAll<HTMLElement>("form.entry-form .entry-row")) if (changed(row)) void save(row);
  });
  // A section that was just opened takes the reader with it.
  document.addEventListener("htmx:after:swap", (event) => {
    const detail = (event as CustomEvent<{ ctx?: { target?: Element } }>).detail;
    if (detail?.ctx?.target?.id === "entry") document.getElementById("entry")?.focus();
  });
}
