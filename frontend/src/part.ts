// Fetches a part of the page anew. Parts come each on its own way, so that a slow one holds up no other; of one part one
// request is under way at a time. A look is never left out, for its answer is waited for; of several for what lies below
// only the latest is sent.
import htmx from "htmx.org/dist/htmx.esm.js";

export type Part = "look" | "below";

// Requests of one source wait for one another and may be dropped there: each part has a source of its own, which stays.
const SOURCES: Record<Part, Element> = { look: document.documentElement, below: document.body };
// Under a moving hand only what differs is touched: what stands stays, and need not be laid out and painted again.
const SWAPS: Record<Part, string> = { look: "outerMorph", below: "outerHTML" };
// How many answers have reached each part. A refusal goes to the alert instead and leaves the part as it stands.
const answers: Record<Part, number> = { look: 0, below: 0 };
document.addEventListener("htmx:before:settle", (event) => {
  const id = event.target instanceof Element ? event.target.id : "";
  if (id === "look" || id === "below") answers[id] += 1;
});
const before: Record<Part, Promise<unknown>> = { look: Promise.resolve(), below: Promise.resolve() };
const latest: Record<Part, number> = { look: 0, below: 0 };

type Headers = Record<string, string>;

// Resolves to whether the part was answered. `more`: headers that say something of the request, such as that nobody pressed
// anything; asked for when the request's turn has come.
export function fetchPart(part: Part, address: string, more: () => Headers = () => ({})): Promise<boolean> {
  const turn = ++latest[part];
  const answer = before[part].then(async () => {
    if ((part === "below" && turn !== latest[part]) || !document.getElementById(part)) return false;
    const had = answers[part];
    await htmx.ajax("GET", address, {
      source: SOURCES[part],
      target: `#${part}`,
      swap: SWAPS[part],
      headers: { ...more(), "HX-Target": `div#${part}` },
    });
    return answers[part] > had;
  });
  before[part] = answer.catch(() => undefined);
  return answer;
}
