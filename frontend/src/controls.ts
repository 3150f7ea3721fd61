// The fields and the − / + buttons below the drawing: the same as dragging, without a pointer.
import { type Field, ask, controlsForm, fieldOf, move, valueOf } from "./look";
import { type Range, fit, written } from "./steps";

export function rangeOf(field: HTMLInputElement): Range {
  return {
    low: Number(field.min),
    high: Number(field.max),
    step: Number(field.dataset["step"] ?? "1"),
    turns: field.dataset["turns"] !== undefined,
  };
}

// One or more steps of a control, up or down.
export function stepBy(name: string, steps: number): void {
  const field = fieldOf(name);
  if (field instanceof HTMLSelectElement) {
    const values = [...field.options].map((option) => option.value);
    const at = values.indexOf(valueOf(name)) + Math.sign(steps);
    const value = values[Math.min(values.length - 1, Math.max(0, at))];
    if (value !== undefined) move(name, value);
  } else if (field) {
    move(name, written(fit(Number(valueOf(name)) + steps * rangeOf(field).step, rangeOf(field))));
  }
}

function isControl(target: EventTarget | null): target is Field {
  const field = target instanceof HTMLInputElement || target instanceof HTMLSelectElement;
  return field && target.form !== null && target.form === controlsForm();
}

export function listenToControls(): void {
  document.addEventListener("click", (event) => {
    const button = event.target instanceof Element ? event.target.closest<HTMLButtonElement>("button.step") : null;
    if (!button || button.form !== controlsForm()) return;
    event.preventDefault();
    const [name, by] = button.value.split(":");
    if (name !== undefined) stepBy(name, Number(by));
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
