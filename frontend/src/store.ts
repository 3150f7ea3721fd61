// What this device keeps for the time without network: entries that wait, cases that were chosen, and whose they are.
// Pages and the worker share it.
import { type DBSchema, type IDBPDatabase, openDB } from "idb";

// An entry is the form as it would have been sent. `key` is its identity: a repeat is harmless.
export interface Entry {
  number?: number;
  key: string;
  case: string;
  address: string;
  body: string;
  row: string;
  words: string;
  author: string;
  at: string;
  state: "waits" | "refused" | "sent";
  why: string;
  head: number;
}

export interface Kept {
  case: string;
  label: string;
  author: string;
  head: number;
  at: string;
  until: string;
}

interface Shape extends DBSchema {
  outbox: { key: number; value: Entry; indexes: { key: string } };
  kept: { key: string; value: Kept };
  meta: { key: string; value: string };
}

export const SHELL = "forestay-shell";
const NAME = "forestay";

let opened: Promise<IDBPDatabase<Shape>> | null = null;

function database(): Promise<IDBPDatabase<Shape>> {
  opened ??= openDB<Shape>(NAME, 1, {
    upgrade(db) {
      db.createObjectStore("outbox", { keyPath: "number", autoIncrement: true }).createIndex("key", "key", { unique: true });
      db.createObjectStore("kept", { keyPath: "case" });
      db.createObjectStore("meta");
    },
    blocking() {
      void opened?.then((db) => db.close());
      opened = null;
    },
  });
  return opened;
}

export function caseCache(author: string, name: string): string {
  return `forestay-case ${author} ${name}`;
}

export async function entries(): Promise<Entry[]> {
  return (await database()).getAll("outbox");
}

// Keep an entry; the same one sent again is kept already. Another one from the same page, before it came anew, gets an
// identity of its own.
export async function add(entry: Entry): Promise<void> {
  const db = await database();
  const change = db.transaction("outbox", "readwrite");
  const there = await change.store.index("key").get(entry.key);
  if (!there) await change.store.add(entry);
  else if (there.body !== entry.body || there.address !== entry.address) await change.store.add(renamed(entry));
  await change.done;
}

function renamed(entry: Entry): Entry {
  const key = crypto.randomUUID();
  const form = new URLSearchParams(entry.body);
  form.set("key", key);
  return { ...entry, key, body: form.toString() };
}

export async function change(entry: Entry): Promise<void> {
  await (await database()).put("outbox", entry);
}

export async function drop(number: number): Promise<void> {
  await (await database()).delete("outbox", number);
}

export async function author(): Promise<string> {
  return (await (await database()).get("meta", "author")) ?? "";
}

export async function setAuthor(name: string): Promise<void> {
  await (await database()).put("meta", name, "author");
}

export async function keptCases(): Promise<Kept[]> {
  return (await database()).getAll("kept");
}

export async function keptCase(name: string): Promise<Kept | undefined> {
  return (await database()).get("kept", name);
}

// A case is kept from here on; what was sent and is part of the copy need not be remembered any more.
export async function keep(kept: Kept): Promise<void> {
  const db = await database();
  await db.put("kept", kept);
  for (const entry of await db.getAll("outbox")) {
    if (entry.case === kept.case && entry.state === "sent" && entry.head <= kept.head && entry.number !== undefined) await db.delete("outbox", entry.number);
  }
}

export async function unkeep(kept: Kept): Promise<void> {
  await (await database()).delete("kept", kept.case);
  await caches.delete(caseCache(kept.author, kept.case));
}

// Copies of cases that somebody else kept here, or whose time is over.
export async function tidy(mine: string): Promise<void> {
  for (const kept of await keptCases()) if (kept.author !== mine || Date.parse(kept.until) < Date.now()) await unkeep(kept);
}

// Everything on this device, also what was not sent.
export async function wipe(): Promise<void> {
  for (const name of await caches.keys()) await caches.delete(name);
  const db = await database();
  await Promise.all([db.clear("outbox"), db.clear("kept"), db.clear("meta")]);
}

// The moment with the zone of this device, as the server reads it.
export function moment(): string {
  const now = new Date();
  const ahead = -now.getTimezoneOffset();
  const two = (n: number) => String(Math.floor(Math.abs(n))).padStart(2, "0");
  const local = new Date(now.getTime() + ahead * 60_000).toISOString().slice(0, 19);
  return `${local}${ahead < 0 ? "-" : "+"}${two(Math.abs(ahead) / 60)}:${two(Math.abs(ahead) % 60)}`;
}
