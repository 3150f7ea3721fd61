// Theatre without network, put together from what the server worked out beforehand: the steps as they stand, and the steps
// after each finding alone. Nothing is worked out here; what was not worked out beforehand is said.
import type { Entry } from "./store";

interface Step {
  key: string;
  name: string;
  html: string;
}
export interface Kit {
  made_at: string;
  page: string;
  none: string;
  steps: Step[];
  above: string;
  done: string[];
  last: string;
  started: string;
  findings: Record<string, { kit: string; say: string }>;
  words: Record<"kept" | "waits" | "alone" | "together" | "figure" | "unknown" | "done" | "taken", string>;
}
export interface After {
  now: Record<string, string>;
  steps: Step[];
  above: string;
  answered: Record<string, string>;
}

function formOf(entry: Entry): URLSearchParams {
  return new URLSearchParams(entry.body);
}

function escaped(text: string): string {
  return text.replace(/[&<>"']/g, (sign) => `&#${sign.charCodeAt(0)};`);
}

function filled(words: string, values: Record<string, string>): string {
  return escaped(words.replace(/\{(\w+)\}/g, (whole, name: string) => values[name] ?? whole));
}

function clock(at: string): string {
  const time = new Date(at);
  return `${String(time.getHours()).padStart(2, "0")}:${String(time.getMinutes()).padStart(2, "0")}`;
}

interface Stand {
  done: string[];
  found: { name: string; figure: boolean }[];
  last: string;
  started: string;
  lines: string[];
}

// What stands after the entries of this device, in their order; what was taken back does not.
function standOf(kit: Kit, own: Entry[]): Stand {
  const back = new Set(own.filter((entry) => entry.address.endsWith("/theatre/back")).map((entry) => formOf(entry).get("fact")));
  const stand: Stand = { done: [...kit.done], found: [], last: back.has(kit.last) ? "" : kit.last, started: kit.started, lines: [] };
  for (const entry of own) {
    const form = formOf(entry);
    const taken = back.has(entry.key);
    const step = kit.steps.find((one) => one.key === form.get("step"))?.name ?? form.get("step") ?? "";
    if (entry.address.endsWith("/theatre/done")) {
      stand.lines.push(kit.words.done.replace("{step}", step) + (taken ? ` (${kit.words.taken})` : ""));
      if (taken) continue;
      stand.done.push(form.get("step") ?? "");
      stand.started ||= entry.at;
      stand.last = entry.key;
    } else if (entry.address.endsWith("/theatre/found")) {
      const name = form.get("found") ?? "";
      stand.lines.push((kit.findings[name]?.say ?? name) + (taken ? ` (${kit.words.taken})` : ""));
      if (taken) continue;
      stand.found.push({ name, figure: (form.get(`answer ${name}`) ?? "").trim() !== "" });
      stand.last = entry.key;
    } else if (!entry.address.endsWith("/theatre/back")) stand.lines.push(entry.words);
  }
  return stand;
}

export async function theatre(kit: Kit, own: Entry[], asked: URLSearchParams, after: (key: string) => Promise<After | undefined>): Promise<string> {
  const stand = standOf(kit, own);
  const kits = [...new Set(stand.found.map((one) => kit.findings[one.name]?.kit ?? ""))];
  const latest = stand.found.at(-1);
  const key = latest ? kit.findings[latest.name]?.kit : undefined;
  const then = key ? await after(key) : undefined;
  const notes = [filled(kit.words.kept, { time: clock(kit.made_at) })];
  if (stand.lines.length > 0) notes.push(filled(kit.words.waits, { list: stand.lines.join("; ") }));
  const say = (name: string) => kit.findings[name]?.say ?? name;
  if (latest && !then) notes.push(filled(kit.words.unknown, { finding: say(latest.name) }));
  else if (kits.length > 1) notes.push(filled(kit.words.together, { findings: [...new Set(stand.found.map((one) => say(one.name)))].join(", ") }));
  else if (latest) notes.push(filled(kit.words.alone, { finding: say(latest.name) }));
  if (stand.found.some((one) => one.figure)) notes.push(filled(kit.words.figure, {}));

  const steps = then?.steps ?? kit.steps;
  const found = asked.get("found") ?? "";
  const urgent = latest && found === latest.name ? then?.now[found] : "";
  const step =
    steps.find((one) => one.key === urgent && !stand.done.includes(one.key)) ??
    steps.find((one) => one.key === asked.get("step")) ?? steps.find((one) => !stand.done.includes(one.key)) ?? steps.at(-1);
  const answered = latest && found === latest.name ? (then?.answered[found] ?? "") : "";
  const said = `<div class="answered kept-notes" role="status">${notes.map((note) => `<p>${note}</p>`).join("")}</div>${answered}`;
  // A step that a finding leaves as it was is kept once.
  let main = step ? step.html || (kit.steps.find((one) => one.key === step.key)?.html ?? "") : kit.none;
  main = main.replace("<!--answered-->", () => said).replace("<!--above-->", () => then?.above ?? kit.above);
  if (!stand.last) main = main.replace(/<!--back-->[\s\S]*?<!--\/back-->/, "");
  const press = crypto.randomUUID();
  main = main.replaceAll("KEPT-KEY", press).replaceAll("KEPT-LAST", stand.last).replaceAll("KEPT-STARTED", stand.started);
  return kit.page.replace("<!--main-->", () => main);
}
