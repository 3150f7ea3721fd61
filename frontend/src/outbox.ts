// Entries that wait on this device: counted on the page, sent in their order as soon as there is network, one window at a
// time, and taken out only once the server said that they are kept. What it refuses stays and is said.
import { fillRow } from "./entry";
import { type Entry, change, drop, entries, setAuthor, tidy, wipe } from "./store";
import { counted, words } from "./words";

const AGAIN_MS = 8000;
const UNAUTHORISED = 401;
const WAIT = [408, 425, 429, 500, 502, 503, 504];

export interface Device {
  author: string;
  shown_as: string;
  token: string;
}

let sent = 0;
let disputed = "";
let signedOut = false;

export function able(): boolean {
  return window.isSecureContext && "serviceWorker" in navigator && "caches" in window;
}

// Only where this device was told to keep something; nothing is set up on any other.
export async function inUse(): Promise<boolean> {
  return able() && (await navigator.serviceWorker.getRegistration("/")) !== undefined;
}

export function waitingOnes(all: Entry[]): Entry[] {
  return all.filter((entry) => entry.state !== "sent");
}

export function timeOf(at: string): string {
  const time = new Date(at);
  return `${String(time.getHours()).padStart(2, "0")}:${String(time.getMinutes()).padStart(2, "0")}`;
}

async function paint(): Promise<void> {
  const line = document.querySelector<HTMLElement>("#net");
  const text = line?.querySelector("span");
  if (!line || !text) return;
  const count = waitingOnes(await entries()).length;
  const kept = document.documentElement.dataset["kept"];
  const parts: string[] = [];
  if (kept) parts.push(words("oldCopy", { time: timeOf(kept) }));
  else if (!navigator.onLine) parts.push(words(navigator.serviceWorker.controller ? "noNetwork" : "noNetworkElse"));
  if (count > 0) parts.push(counted("waiting", count));
  if (count > 0 && signedOut) parts.push(words("signIn"));
  if (sent > 0) parts.push(counted("sent", sent));
  if (disputed) parts.push(words("dispute", { fields: disputed }));
  const said = parts.join(" ");
  if (text.textContent !== said) text.textContent = said;
  line.hidden = parts.length === 0;
}

export async function device(): Promise<Device | null> {
  try {
    const answer = await fetch("/api/device", { headers: { "X-Forestay-By-Itself": "1" } });
    signedOut = answer.status === UNAUTHORISED;
    return answer.ok ? ((await answer.json()) as Device) : null;
  } catch {
    return null;
  }
}

// Send what waits. Another window that sends already is left to it.
export async function sendAll(): Promise<void> {
  await navigator.locks.request("forestay-outbox", { ifAvailable: true }, async (lock) => {
    if (!lock) return;
    const waiting = (await entries()).filter((entry) => entry.state === "waits");
    if (waiting.length === 0) return;
    const here = await device();
    if (!here) return;
    for (const entry of waiting) if (entry.author === here.author && !(await send(entry, here))) break;
  });
  await paint();
  document.dispatchEvent(new CustomEvent("forestay:outbox"));
}

// True where the next one may follow.
async function send(entry: Entry, here: Device): Promise<boolean> {
  const headers: Record<string, string> = {
    "Content-Type": "application/x-www-form-urlencoded",
    "X-Forestay-Entered-At": entry.at,
    "X-Forestay-Entered-By": entry.author,
  };
  if (here.token) headers["X-Forestay-Token"] = here.token;
  if (entry.row) headers["X-Row"] = entry.row;
  let answer: Response;
  try {
    answer = await fetch(entry.address, { method: "POST", body: entry.body, headers, redirect: "manual" });
  } catch {
    return false;
  }
  signedOut = answer.status === UNAUTHORISED;
  if (signedOut || answer.type === "opaqueredirect" || WAIT.includes(answer.status)) return false;
  if (!answer.ok) {
    await change({ ...entry, state: "refused", why: await reason(answer) });
    return true;
  }
  const told = (await answer.json()) as { kept?: boolean; head: number; disagreements: { words: string }[] };
  if (told.kept !== true) return false;
  // Remembered until a copy of the case holds it.
  await change({ ...entry, state: "sent", head: told.head });
  sent += 1;
  disputed = told.disagreements.map((one) => one.words).join("; ");
  return true;
}

async function reason(answer: Response): Promise<string> {
  const text = await answer.text();
  try {
    return (JSON.parse(text) as { error: { message: string } }).error.message;
  } catch {
    const page = new DOMParser().parseFromString(text, "text/html");
    return page.querySelector(".alert, .notes")?.textContent?.trim() || String(answer.status);
  }
}

// Take over what somebody else entered here, as one's own; the time stays.
export async function takeOver(entry: Entry): Promise<void> {
  const here = await device();
  if (here) await change({ ...entry, author: here.author, state: "waits", why: "" });
  await sendAll();
}

export async function tryAgain(entry: Entry): Promise<void> {
  await change({ ...entry, state: "waits", why: "" });
  await sendAll();
}

// A kept copy shows what was entered on it since.
async function overlay(): Promise<void> {
  const name = document.querySelector<HTMLElement>("[data-case]")?.dataset["case"];
  for (const entry of waitingOnes(await entries())) {
    if (entry.case !== name) continue;
    const form = new URLSearchParams(entry.body);
    for (const check of form.getAll("check")) {
      const box = document.querySelector<HTMLInputElement>(`input[name="check"][value="${CSS.escape(check)}"]`);
      if (box) box.checked = true;
    }
    if (entry.row && !entry.address.endsWith("/undo")) fillRow(entry.row, form, words("waits"));
  }
}

// Everything goes from this device, and its worker with it.
export async function leave(): Promise<void> {
  await wipe();
  for (const one of await navigator.serviceWorker.getRegistrations()) await one.unregister();
}

// Before somebody signs out: what waits is sent, or said; then all is forgotten.
function signOut(form: HTMLFormElement): void {
  void (async () => {
    await sendAll();
    const waiting = waitingOnes(await entries());
    if (waiting.length > 0) {
      window.location.assign("/device?leaving=1");
      return;
    }
    await leave();
    form.submit();
  })();
}

export async function startOutbox(): Promise<void> {
  if (!(await inUse())) return;
  const mine = document.querySelector<HTMLMetaElement>('meta[name="forestay-author"]')?.content;
  if (mine) {
    await setAuthor(mine);
    await tidy(mine);
  }
  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (!(form instanceof HTMLFormElement) || new URL(form.action).pathname !== "/sign-out") return;
    event.preventDefault();
    signOut(form);
  });
  navigator.serviceWorker.addEventListener("message", () => void paint());
  for (const name of ["online", "offline"]) window.addEventListener(name, () => void (navigator.onLine ? sendAll() : paint()));
  window.setInterval(() => void sendAll(), AGAIN_MS);
  await overlay();
  await paint();
  await sendAll();
}

export async function forgetEntry(entry: Entry): Promise<void> {
  if (entry.number !== undefined) await drop(entry.number);
  await paint();
}
