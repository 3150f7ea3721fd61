// What another device keeps on this case comes to this page by itself: the server says how many facts there are, and the
// page asks for its parts again. Where a field is being edited, or something is being tried, the page says it and waits.
import { changed } from "./entry";
import { fetchPart } from "./part";
import { counted, words } from "./words";

const BY_ITSELF = { "X-Forestay-By-Itself": "1" };
const OWN_MS = 3000;
const REST_MS = 1200;
const HAND_MS = 2000;
const FRESH_MS = 600;

let stream: EventSource | null = null;
let seen = 0;
let told = 0;
let others = 0;
let touched = Number.NEGATIVE_INFINITY;
let replaced = Number.NEGATIVE_INFINITY;
let later: number | undefined;
let showing = false;

function page(): HTMLElement | null {
  return document.querySelector<HTMLElement>("main[data-case][data-head]");
}

// True while the stream is open: nobody needs to ask again and again.
export function isLive(): boolean {
  return stream?.readyState === EventSource.OPEN;
}

function isField(target: Element | null): boolean {
  if (target instanceof HTMLInputElement) return !["checkbox", "radio", "button", "submit"].includes(target.type);
  return target instanceof HTMLSelectElement || target instanceof HTMLTextAreaElement;
}

// Something on the page would be disturbed if its parts came anew.
function busy(): boolean {
  const main = page();
  const at = document.activeElement;
  if (!main || (isField(at) && main.contains(at))) return true;
  if (document.documentElement.hasAttribute("data-asking")) return true;
  if (main.querySelector<HTMLInputElement>('#controls input[name="held"]')?.value) return true;
  const reason = main.querySelector<HTMLInputElement>("#reason");
  if (reason && reason.value !== reason.defaultValue) return true;
  return [...main.querySelectorAll<HTMLInputElement>(".findings input")].some((field) => field.value !== field.defaultValue && field.type !== "hidden");
}

function notice(): void {
  const line = document.querySelector<HTMLElement>("#news");
  if (!line) return;
  line.hidden = others === 0;
  const text = line.querySelector("span");
  if (text && others > 0) text.textContent = counted("news", others);
}

function soon(after: number): void {
  window.clearTimeout(later);
  later = window.setTimeout(() => void arrive(), after);
}

async function arrive(): Promise<void> {
  if (!page() || told <= seen) return;
  if (busy()) return notice();
  const hand = HAND_MS - (performance.now() - touched);
  if (page()?.matches(".theatre:not(.wall)") && hand > 0) return soon(hand);
  await show();
}

async function show(): Promise<void> {
  const main = page();
  if (!main || showing) return;
  showing = true;
  const from = seen;
  const to = told;
  try {
    if (main.matches(".theatre")) await showTheatre(main, from);
    else {
      if (main.matches(".case")) await showParts(main, from);
      await showRows(main);
    }
    seen = Math.max(seen, to);
    main.dataset["head"] = String(seen);
    others = 0;
    notice();
  } catch {
    notice(); // No answer: what is new stays said, and is fetched with the next word of the server.
  } finally {
    showing = false;
  }
  if (told > seen) soon(REST_MS);
}

async function showParts(main: HTMLElement, since: number): Promise<void> {
  const address = `/cases/${main.dataset["case"] ?? ""}?since=${since}`;
  for (const part of ["look", "below"] as const) await fetchPart(part, address, () => BY_ITSELF);
}

async function fetched(address: string): Promise<Document> {
  const answer = await fetch(address, { headers: BY_ITSELF });
  if (!answer.ok) throw new Error(String(answer.status));
  return new DOMParser().parseFromString(await answer.text(), "text/html");
}

// Rows of forms: those that nobody is writing in show what is kept now.
async function showRows(main: HTMLElement): Promise<void> {
  const sections = new Set([...main.querySelectorAll<HTMLElement>("form.entry-form")].map((form) => form.dataset["section"] ?? ""));
  for (const section of sections) {
    const fresh = await fetched(`/cases/${main.dataset["case"] ?? ""}/facts/${section}`);
    for (const row of main.querySelectorAll<HTMLElement>(`form.entry-form[data-section="${section}"] .entry-row`)) {
      const other = fresh.getElementById(row.id);
      if (!other || changed(row) || row.contains(document.activeElement)) continue;
      row.replaceWith(other);
      document.getElementById(`${row.id}-dispute`)?.remove();
      const dispute = fresh.getElementById(`${row.id}-dispute`);
      if (dispute) other.closest("form")?.after(dispute);
    }
  }
}

async function showTheatre(main: HTMLElement, since: number): Promise<void> {
  const address = new URL(window.location.href);
  address.searchParams.set("since", String(since));
  const fresh = (await fetched(address.pathname + address.search)).querySelector<HTMLElement>("main.theatre");
  if (!fresh) throw new Error("no theatre");
  for (const details of main.querySelectorAll<HTMLDetailsElement>("details[open][id]")) {
    const same = fresh.querySelector<HTMLDetailsElement>(`#${CSS.escape(details.id)}`);
    if (same) same.open = true;
  }
  const keys = main.querySelector<HTMLInputElement>("#keys-on");
  const freshKeys = fresh.querySelector<HTMLInputElement>("#keys-on");
  if (keys && freshKeys) freshKeys.checked = keys.checked;
  replaced = performance.now();
  main.replaceWith(fresh);
}

function heard(event: MessageEvent<string>): void {
  const news = JSON.parse(event.data) as { head: number; others: number };
  if (news.head <= told) return;
  told = news.head;
  others += news.others;
  // What this very device kept is shown by whoever kept it; another window of it follows a little later.
  soon(news.others > 0 ? 0 : OWN_MS);
}

function open(): void {
  const main = page();
  if (!main || stream || document.visibilityState === "hidden") return;
  stream = new EventSource(`/cases/${main.dataset["case"] ?? ""}/events?after=${Math.max(seen, told)}`);
  stream.addEventListener("message", heard);
  stream.addEventListener("error", () => {
    if (stream?.readyState === EventSource.CLOSED) close();
  });
}

// A hidden page keeps no connection: a browser has few of them for one server.
function close(): void {
  stream?.close();
  stream = null;
}

export function listenToOthers(): void {
  const main = page();
  if (!main) return;
  seen = told = Number(main.dataset["head"]);
  document.querySelector("#news button")?.addEventListener("click", () => void show());
  document.addEventListener("visibilitychange", () => (document.visibilityState === "hidden" ? close() : open()));
  window.addEventListener("pagehide", close);
  window.addEventListener("pageshow", open);
  window.addEventListener("online", open);
  for (const kind of ["pointerdown", "keydown"]) document.addEventListener(kind, () => (touched = performance.now()), true);
  document.addEventListener("focusout", () => {
    if (told > seen) soon(REST_MS);
  });
  // A press that was meant for what stood here a moment ago does nothing.
  document.addEventListener(
    "click",
    (event) => {
      if (performance.now() - replaced > FRESH_MS || !(event.target instanceof Element) || !event.target.closest("main.theatre")) return;
      event.preventDefault();
      event.stopPropagation();
      const said = document.querySelector("#said");
      if (said) said.textContent = words("movedAway");
    },
    true,
  );
  document.addEventListener("htmx:after:swap", () => {
    const shown = Number(document.querySelector<HTMLElement>("#look")?.dataset["head"] ?? "0");
    if (shown <= seen) return;
    seen = shown;
    if (seen >= told) others = 0;
    notice();
  });
  open();
}
