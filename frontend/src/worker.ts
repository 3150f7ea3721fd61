// The worker between pages and network. With network it only hands on. Without, it answers with what was chosen to be kept,
// and keeps what is entered. It knows no formula: what a finding changes was worked out by the server beforehand.
import { type Kit, type After, theatre } from "./beforehand";
import { type Entry, SHELL, add, author, caseCache, entries, keptCase, moment, unkeep } from "./store";

interface Waiting extends Event {
  waitUntil(work: Promise<unknown>): void;
}
interface Fetching extends Waiting {
  readonly request: Request;
  respondWith(answer: Promise<Response>): void;
}
interface Scope {
  addEventListener(kind: "install" | "activate", heard: (event: Waiting) => void): void;
  addEventListener(kind: "fetch", heard: (event: Fetching) => void): void;
  skipWaiting(): Promise<void>;
  readonly clients: { claim(): Promise<void>; matchAll(): Promise<{ postMessage(told: unknown): void }[]> };
}
const scope = self as unknown as Scope;

const PAGE_MS = 15_000;
const SEND_MS = 20_000;
const SEE_OTHER = 303;
const ACCEPTED = 202;
// Forms that may wait. Others need the server's answer at once.
const KEEPABLE = /^\/cases\/([^/]+)\/(facts\/.+|theatre\/(done|found|back|checks)|decisions|findings|withdrawals|side|follow-up)$/;

scope.addEventListener("install", (event) => event.waitUntil(scope.skipWaiting()));
scope.addEventListener("activate", (event) => event.waitUntil(scope.clients.claim()));
scope.addEventListener("fetch", (event) => {
  const request = event.request;
  const url = new URL(request.url);
  if (url.origin !== location.origin) return;
  if (request.method === "GET" && url.pathname.startsWith("/static/")) event.respondWith(asset(request));
  else if (request.method === "GET" && request.mode === "navigate") event.respondWith(page(request, url));
  else if (request.method === "POST" && !request.headers.has("X-Forestay-Entered-At")) {
    if (KEEPABLE.test(url.pathname)) event.respondWith(post(request, url));
    else if (request.mode === "navigate") event.respondWith(fetch(request).catch(() => Response.redirect("/device?needs=network", SEE_OTHER)));
  }
});

// No answer within the time is taken for no network: what was sent has an identity, so that nothing is kept twice.
function inTime(asked: Promise<Response>, limit: number): Promise<Response> {
  const over = new Promise<never>((_, refuse) => setTimeout(() => refuse(new Error("no answer")), limit));
  return Promise.race([asked, over]);
}

async function asset(request: Request): Promise<Response> {
  return (await caches.match(request, { cacheName: SHELL })) ?? fetch(request);
}

async function page(request: Request, url: URL): Promise<Response> {
  const name = /^\/cases\/([^/]+)/.exec(url.pathname)?.[1] ?? "";
  const kept = name ? await keptCase(name).catch(() => undefined) : undefined;
  try {
    return await (kept ? inTime(fetch(request), PAGE_MS) : fetch(request));
  } catch (gone) {
    const copy = kept ? await copyOf(url, name) : await shellOf(url);
    if (copy) return copy;
    if (url.pathname !== "/device" && (await caches.match("/device", { cacheName: SHELL }))) return Response.redirect("/device?needs=network", SEE_OTHER);
    throw gone;
  }
}

async function shellOf(url: URL): Promise<Response | undefined> {
  return url.pathname === "/device" ? caches.match("/device", { cacheName: SHELL }) : undefined;
}

async function copyOf(url: URL, name: string): Promise<Response | undefined> {
  const mine = await author();
  const kept = await keptCase(name);
  if (!kept || kept.author !== mine) return undefined;
  if (Date.parse(kept.until) < Date.now()) {
    await unkeep(kept);
    return undefined;
  }
  const cache = await caches.open(caseCache(mine, name));
  const here = `/cases/${name}`;
  if (url.pathname === `${here}/theatre`) return theatreOf(cache, here, url, mine);
  const found = await cache.match(url.pathname);
  if (!found?.headers.get("Content-Type")?.startsWith("text/html")) return found;
  return html(fresh(await found.text(), kept.at), found.headers);
}

async function theatreOf(cache: Cache, here: string, url: URL, mine: string): Promise<Response | undefined> {
  const answer = await cache.match(`${here}/theatre/kit`);
  if (!answer) return undefined;
  const kit = (await answer.json()) as Kit;
  const own = (await entries()).filter((entry) => `/cases/${entry.case}` === here && entry.author === mine && entry.state !== "refused");
  const after = async (key: string) => (await (await cache.match(`${here}/theatre/kit?finding=${key}`))?.json()) as After | undefined;
  const text = await theatre(kit, own, url.searchParams, after);
  return html(fresh(text, kit.made_at), answer.headers);
}

// A copy gets identities of its own each time it is shown, so that two entries never share one.
function fresh(text: string, at: string): string {
  return text
    .replace(/(\bdata-key="|name="key" value=")[0-9a-f-]{36}"/g, (_, start: string) => `${start}${crypto.randomUUID()}"`)
    .replace("<html ", `<html data-kept="${at}" `);
}

function html(text: string, like: Headers): Response {
  const headers = new Headers(like);
  headers.set("Content-Type", "text/html; charset=utf-8");
  headers.delete("Content-Length");
  return new Response(text, { headers });
}

async function post(request: Request, url: URL): Promise<Response> {
  const copy = request.clone();
  try {
    return await inTime(fetch(request), SEND_MS);
  } catch {
    return keepEntry(copy, url);
  }
}

async function keepEntry(request: Request, url: URL): Promise<Response> {
  const body = await request.text();
  const form = new URLSearchParams(body);
  const key = form.get("key");
  const name = KEEPABLE.exec(url.pathname)?.[1];
  const mine = await author();
  if (!key || !name || !mine) return Response.error();
  const row = request.headers.get("X-Row") ?? "";
  const said = request.headers.get("X-Forestay-Words");
  const entry: Entry = {
    key,
    case: name,
    address: url.pathname,
    body,
    row,
    words: said ? decodeURIComponent(said) : wordsOf(url.pathname, form),
    author: mine,
    at: moment(),
    state: "waits",
    why: "",
    head: 0,
  };
  await add(entry);
  for (const client of await scope.clients.matchAll()) client.postMessage("outbox");
  if (request.mode === "navigate") return Response.redirect(placeAfter(url.pathname, name, form), SEE_OTHER);
  return new Response("", { status: ACCEPTED, headers: { "X-Forestay-Waits": "1" } });
}

function wordsOf(address: string, form: URLSearchParams): string {
  const what = address.split("/").slice(3).join(" ");
  const told = ["step", "found", "check", "choice", "reason", "why"].flatMap((name) => form.getAll(name)).filter((text) => text !== "").map((text) => text.replace(/^(cue|rule) /, ""));
  return [what, ...told].join(" · ");
}

function placeAfter(address: string, name: string, form: URLSearchParams): string {
  const here = `/cases/${name}`;
  if (address.endsWith("/theatre/found")) {
    return `${here}/theatre?${new URLSearchParams({ step: form.get("step") ?? "", found: form.get("found") ?? "" })}`;
  }
  if (address.endsWith("/theatre/checks")) return `${here}/theatre/checks`;
  return address.includes("/theatre/") ? `${here}/theatre` : here;
}
