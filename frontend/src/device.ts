// This device: a case is kept on it by a button, its lists are shown on its page, and it forgets all when told to.
import { able, device, forgetEntry, inUse, leave, sendAll, takeOver, timeOf, tryAgain, waitingOnes } from "./outbox";
import { type Entry, SHELL, caseCache, entries, keep, keptCase, keptCases, moment, setAuthor, unkeep } from "./store";
import { counted, words } from "./words";

interface Index {
  case: string;
  label: string;
  head: number;
  until: string;
  assets: string[];
  pages: string[];
}

const AT_ONCE = 2;
let keeping = false;

function say(text: string): void {
  const line = document.querySelector("#keep-said");
  if (line && line.textContent !== text) line.textContent = text;
}

// Fetch everything of a case that the time without network may need.
async function keepCase(name: string): Promise<void> {
  if (keeping) return;
  keeping = true;
  try {
    await navigator.serviceWorker.register("/worker.js", { scope: "/" });
    await navigator.serviceWorker.ready;
    const here = await device();
    if (!here) throw new Error("network");
    await setAuthor(here.author);
    const answer = await fetch(`/cases/${name}/offline`);
    if (!answer.ok) throw new Error(String(answer.status));
    const index = (await answer.json()) as Index;
    const shell = await caches.open(SHELL);
    const fresh = caseCache(here.author, name);
    const cache = await caches.open(fresh);
    const all = index.assets.length + index.pages.length + 1;
    let done = 0;
    const jobs = [
      ...index.assets.map((address) => () => fetchInto(shell, address, true)),
      () => fetchInto(shell, "/device", false),
      ...index.pages.map((address) => () => fetchInto(cache, address, false)),
    ];
    const work = async (): Promise<void> => {
      for (let job = jobs.shift(); job; job = jobs.shift()) {
        await job();
        done += 1;
        say(words("keeping", { done, all }));
      }
    };
    await Promise.all(Array.from({ length: AT_ONCE }, work));
    // Copies of other cases may still need the parts of an older version.
    const alone = (await keptCases()).every((one) => one.case === name);
    for (const old of alone ? await shell.keys() : []) {
      const path = new URL(old.url).pathname;
      if (path !== "/device" && !index.assets.includes(path)) await shell.delete(old);
    }
    await keep({ case: name, label: index.label, author: here.author, head: index.head, at: moment(), until: index.until });
    await sayKept(name);
  } catch (wrong) {
    say(words("notKept", { why: wrong instanceof Error ? wrong.message : "" }));
  } finally {
    keeping = false;
  }
}

async function fetchInto(cache: Cache, address: string, once: boolean): Promise<void> {
  if (once && (await cache.match(address))) return;
  const answer = await fetch(address);
  if (!answer.ok || answer.redirected) throw new Error(`${address} ${answer.status}`);
  await cache.put(address, answer);
}

async function sayKept(name: string): Promise<void> {
  const kept = await keptCase(name);
  if (!kept) return;
  say(words("kept", { time: timeOf(kept.at), until: timeOf(kept.until) }));
  const button = document.querySelector("#keep-case");
  if (button) button.textContent = words("keepAnew");
}

// On the page of a case: the button, and a copy that is behind is fetched anew by itself.
async function onCase(): Promise<void> {
  const button = document.querySelector<HTMLButtonElement>("#keep-case");
  const line = document.querySelector<HTMLElement>("#keep-line");
  if (!button || !line) return;
  line.hidden = false;
  if (!able()) {
    button.hidden = true;
    say(words("needsTls"));
    return;
  }
  const name = button.dataset["case"] ?? "";
  if (!(await inUse())) return;
  await sayKept(name);
  const kept = await keptCase(name);
  const head = Number(document.querySelector<HTMLElement>("main[data-head]")?.dataset["head"] ?? "0");
  if (kept && kept.head < head && !document.documentElement.dataset["kept"]) await keepCase(name);
}

function button(label: string, press: () => Promise<void>): HTMLButtonElement {
  const made = document.createElement("button");
  made.type = "button";
  made.textContent = label;
  made.addEventListener("click", () => void press().then(fill));
  return made;
}

function lineOf(entry: Entry, mine: string): HTMLLIElement {
  const item = document.createElement("li");
  const what = document.createElement("span");
  what.textContent = `${timeOf(entry.at)} · ${entry.case} · ${entry.words}`;
  item.append(what, " ");
  const other = mine !== "" && entry.author !== mine;
  if (other || entry.state === "refused") {
    const why = document.createElement("b");
    why.textContent = other ? words("other") : words("refused", { why: entry.why });
    item.append(why, " ");
  }
  if (other) item.append(button(words("take"), () => takeOver(entry)), " ");
  else if (entry.state === "refused") item.append(button(words("again"), () => tryAgain(entry)), " ");
  // Dropped for good only at a second press.
  const first = button(words("drop"), async () => {});
  const sure = button(words("dropSure"), () => forgetEntry(entry));
  first.addEventListener("click", (event) => {
    event.stopImmediatePropagation();
    first.replaceWith(sure);
    sure.focus();
  }, true);
  item.append(first);
  return item;
}

async function fill(): Promise<void> {
  const list = document.querySelector("#waiting");
  const cases = document.querySelector("#kept");
  if (!list || !cases) return;
  const used = await inUse();
  const waiting = used ? waitingOnes(await entries()) : [];
  const mine = waiting.length > 0 ? ((await device())?.author ?? "") : "";
  list.replaceChildren(...waiting.map((entry) => lineOf(entry, mine)));
  show("#waiting-none", waiting.length === 0);
  const kept = used ? await keptCases() : [];
  cases.replaceChildren(
    ...kept.map((one) => {
      const item = document.createElement("li");
      const link = document.createElement("a");
      link.href = `/cases/${one.case}/theatre`;
      link.textContent = one.label;
      item.append(link, ` · ${words("kept", { time: timeOf(one.at), until: timeOf(one.until) })} `);
      item.append(button(words("drop"), () => unkeep(one)));
      return item;
    }),
  );
  show("#kept-none", kept.length === 0);
}

function show(which: string, shown: boolean): void {
  const part = document.querySelector<HTMLElement>(which);
  if (part) part.hidden = !shown;
}

async function pressForget(button: HTMLButtonElement): Promise<void> {
  const warning = document.querySelector<HTMLElement>("#forget-warning");
  if (!warning || !(await inUse())) return;
  await sendAll();
  const count = waitingOnes(await entries()).length;
  warning.hidden = false;
  if (count > 0 && button.dataset["sure"] !== String(count)) {
    button.dataset["sure"] = String(count);
    warning.textContent = counted("lost", count);
    return;
  }
  await leave();
  warning.textContent = words("gone");
  await fill();
}

export async function startDevice(): Promise<void> {
  document.addEventListener("click", (event) => {
    const target = event.target;
    if (!(target instanceof HTMLButtonElement)) return;
    if (target.id === "keep-case") void keepCase(target.dataset["case"] ?? "");
    else if (target.id === "send-now") void sendAll().then(fill);
    else if (target.id === "forget") void pressForget(target);
  });
  document.addEventListener("forestay:outbox", () => void fill());
  await onCase();
  if (!document.querySelector("main.device")) return;
  show("#device-cannot", !able());
  const asked = new URLSearchParams(window.location.search);
  if (asked.has("leaving") || asked.has("needs")) {
    const alert = document.querySelector("#alert");
    const line = document.createElement("p");
    line.className = "alert";
    line.textContent = words(asked.has("leaving") ? "leaving" : "needsNetwork");
    alert?.replaceChildren(line);
  }
  await fill();
}
