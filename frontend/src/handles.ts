// Handles in the drawing: pointer and arrow keys become the value of a control. Only geometry of the picture is here;
// the picture says its scale (px per mm), its centre and how far it is turned.
import { stepBy } from "./controls";
import { move, valueOf } from "./look";
import { type Range, fit, written } from "./steps";

interface Place {
  x: number;
  y: number;
}

interface Drag {
  name: string;
  kind: string;
  pointer: number;
  from: Place;
  value: number;
  // How far the value lies from the one that the pointer read when it took hold: a handle may stand beside its place.
  beside: number;
  moved: boolean;
}

const STEP_PX = 24;
const SLACK_PX = 3;
const DEGREES = 180 / Math.PI;
let drag: Drag | null = null;

function picture(): SVGSVGElement | null {
  return document.querySelector<SVGSVGElement>("svg.eye-above");
}

function handleOf(name: string): SVGGElement | null {
  return document.querySelector<SVGGElement>(`svg.eye-above .handle[data-control="${name}"]:not(.twin)`);
}

function read(element: Element, name: string): number {
  return Number(element.getAttribute(name) ?? "0");
}

function inPicture(event: PointerEvent, svg: SVGSVGElement): Place {
  const matrix = svg.getScreenCTM();
  if (!matrix) return { x: 0, y: 0 };
  const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(matrix.inverse());
  return { x: point.x, y: point.y };
}

function rangeOf(handle: SVGGElement): Range {
  return {
    low: read(handle, "aria-valuemin"),
    high: read(handle, "aria-valuemax"),
    step: read(handle, "data-step"),
    turns: handle.dataset["kind"] === "angular",
  };
}

function centre(svg: SVGSVGElement): Place {
  return { x: read(svg, "data-centre-x"), y: read(svg, "data-centre-y") };
}

// Clock hour of a place, as the eye counts it.
function hourAt(place: Place, svg: SVGSVGElement, middle: Place): number {
  const angle = Math.atan2(middle.y - place.y, place.x - middle.x) * DEGREES - read(svg, "data-rotation");
  return (90 - angle) / 30;
}

// Distance from the line between the middle of the eye and the middle of the tunnel [px].
function beside(place: Place, svg: SVGSVGElement): number {
  const middle = centre(svg);
  const angle = (90 - 30 * Number(valueOf("tunnel_clock")) + read(svg, "data-rotation")) / DEGREES;
  return Math.abs((place.x - middle.x) * Math.sin(angle) + (place.y - middle.y) * Math.cos(angle));
}

function valueAt(place: Place, now: Drag, svg: SVGSVGElement, handle: SVGGElement): number {
  const scale = read(svg, "data-scale");
  switch (now.kind) {
    case "radial": {
      const x = place.x - read(handle, "data-centre-x");
      const y = place.y - read(handle, "data-centre-y");
      return (2 * Math.hypot(x, y)) / scale;
    }
    case "reach": {
      const x = place.x - read(handle, "data-centre-x");
      const y = place.y - read(handle, "data-centre-y");
      return Math.hypot(x, y) / scale;
    }
    case "angular":
      return hourAt(place, svg, { x: read(handle, "data-centre-x"), y: read(handle, "data-centre-y") });
    case "chord":
      return (2 * beside(place, svg)) / scale;
    default: {
      const travel = place.x - now.from.x - (place.y - now.from.y);
      return now.value + Math.trunc(travel / STEP_PX) * read(handle, "data-step");
    }
  }
}

function put(name: string, value: number, handle: SVGGElement): void {
  const fitted = fit(value, rangeOf(handle));
  const options = handle.dataset["options"]?.split(" ");
  const text = options ? options[fitted] : written(fitted);
  if (text !== undefined) move(name, text);
}

function start(event: PointerEvent): void {
  const handle = event.target instanceof Element ? event.target.closest<SVGGElement>(".handle") : null;
  const svg = picture();
  const name = handle?.dataset["control"];
  if (!handle || !svg || !name || !event.isPrimary || event.button !== 0) return;
  event.preventDefault();
  // A twin takes the pointer only; the control itself has the focus.
  (handleOf(name) ?? handle).focus({ preventScroll: true });
  drag = {
    name,
    kind: handle.dataset["kind"] ?? "",
    pointer: event.pointerId,
    from: inPicture(event, svg),
    value: read(handleOf(name) ?? handle, "aria-valuenow"),
    beside: 0,
    moved: false,
  };
  if (drag.kind !== "count" && drag.kind !== "choice") {
    drag.beside = drag.value - valueAt(drag.from, drag, svg, handle);
  }
  // The drawing is replaced while it is dragged; the page's body stays.
  document.body.setPointerCapture(event.pointerId);
  document.documentElement.toggleAttribute("data-dragging", true);
}

function follow(event: PointerEvent): void {
  const svg = picture();
  if (!drag || event.pointerId !== drag.pointer || !svg) return;
  const handle = handleOf(drag.name);
  if (!handle) return;
  const place = inPicture(event, svg);
  drag.moved ||= Math.hypot(place.x - drag.from.x, place.y - drag.from.y) > SLACK_PX;
  if (drag.moved) put(drag.name, valueAt(place, drag, svg, handle) + drag.beside, handle);
}

function stop(event: PointerEvent): void {
  if (!drag || event.pointerId !== drag.pointer) return;
  drag = null;
  document.documentElement.toggleAttribute("data-dragging", false);
}

const KEYS: Record<string, number> = {
  ArrowRight: 1,
  ArrowUp: 1,
  ArrowLeft: -1,
  ArrowDown: -1,
  PageUp: 5,
  PageDown: -5,
};

function press(event: KeyboardEvent): void {
  const handle = event.target instanceof Element ? event.target.closest<SVGGElement>(".handle") : null;
  const name = handle?.dataset["control"];
  if (!handle || !name || event.altKey || event.ctrlKey || event.metaKey) return;
  const steps = KEYS[event.key];
  if (steps !== undefined) {
    event.preventDefault();
    stepBy(name, steps);
  } else if (event.key === "Home" || event.key === "End") {
    event.preventDefault();
    put(name, read(handle, event.key === "Home" ? "aria-valuemin" : "aria-valuemax"), handle);
  }
}

export function listenToHandles(): void {
  document.addEventListener("pointerdown", start);
  document.addEventListener("pointermove", follow);
  document.addEventListener("pointerup", stop);
  document.addEventListener("pointercancel", stop);
  document.addEventListener("keydown", press);
  // A finger on a handle never scrolls the page, also where the browser does not know it from the style yet.
  document.addEventListener(
    "touchstart",
    (event) => {
      if (event.target instanceof Element && event.target.closest(".handle")) event.preventDefault();
    },
    { passive: false },
  );
}
