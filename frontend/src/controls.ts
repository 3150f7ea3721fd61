// The fields and the − / + buttons below the drawing: the same as dragging, without a pointer.
import { type Field, ask, controlsForm, fieldOf, move, valueOf } from "./look";
import { type Range, fit, written } from "./steps";

const SLACK_PX = 3;

export function rangeOf(field: HTMLInputElement): Range {
  return {
    low: Number(field.min),
    high: Number(field.max),
    step: Number(field.dataset["step"] ?? "1"),
    turns: field.dataset["turns"] !== undefined,
  };
}

// The value of a control one or more steps up or down.
export function stepped(name: string, steps: number): string | undefined {
  const field = fieldOf(name);
  if (field instanceof HTMLSelectElement) {
    const values = [...field.options].map((option) => option.value);
    const at = values.indexOf(valueOf(name)) + Math.sign(steps);
    return values[Math.min(values.length - 1, Math.max(0, at))];
  }
  return field ? written(fit(Number(valueOf(name)) + steps * rangeOf(field).step, rangeOf(field))) : undefined;
}

export function stepBy(name: string, steps: number): void {
  const value = stepped(name, steps);
  if (value !== undefined) move(name, value);
}

function isControl(target: EventTarget | null): target is Field {
  const field = target instanceof HTMLInputElement || target instanceof HTMLSelectElement;
  return field && target.form !== null && target.form === controlsForm();
}

function stepOf(target: EventTarget | null): HTMLButtonElement | null {
  const button = target instanceof Element ? target.closest<HTMLButtonElement>("button.step") : null;
  return button?.form && button.form === controlsForm() ? button : null;
}

function press(button: HTMLButtonElement): void {
  const [name, by] = button.value.split(":");
  if (name !== undefined) stepBy(name, Number(by));
}

// An answer that comes between press and release may put another thing under the finger that did not move, and the browser
// makes no click of the two: it counts all the same.
function listenAcrossAnswers(): void {
  let pressed: { button: HTMLButtonElement; x: number; y: number } | null = null;
  document.addEventListener("pointerdown", (event) => {
    const button = stepOf(event.target);
    pressed = button && { button, x: event.clientX, y: event.clientY };
  });
  document.addEventListener("pointerup", (event) => {
    const still = pressed && Math.hypot(event.clientX - pressed.x, event.clientY - pressed.y) <= SLACK_PX;
    if (pressed && still && stepOf(event.target) !== pressed.button) press(pressed.button);
    pressed = null;
  });
}

export function listenToControls(): void {
  listenAcrossAnswers();
  document.addEventListener("click", (event) => {
    const button = stepOf(event.target);
    if (!button) return;
    event.preventDefault();
    press(button);
  });
  document.addEventListener("click", (event) => {
    const button = event.target instanceof Element ? event.target.closest<HTMLButtonElement>("button.set") : null;
    if (!button || button.form !== controlsForm()) return;
    event.preventDefault();
    move(button.name, button.value);
  });
  document.addEventListener("change", (event) => {
    if (isControl(event.target)) ask(event.target.name, event.target.value);
  });
  document.addEventListener("submit", (event) => {
    if (event.target !== controlsForm()) return;
    event.preventDefault();
    if (isControl(document.activeElement)) ask(document.activeElement.name, document.activeElement.value);
  });
}
