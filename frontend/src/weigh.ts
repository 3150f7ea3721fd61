// Weights of the measures: slider, field and − / + show one value; the server answers with the order.
function pairOf(input: HTMLInputElement): [HTMLInputElement, HTMLInputElement] | null {
  const set = input.closest<HTMLElement>(".weight");
  const slider = set?.querySelector<HTMLInputElement>('input[type="range"]');
  const field = set?.querySelector<HTMLInputElement>('input[type="number"]');
  return slider && field ? [slider, field] : null;
}

function ask(form: HTMLFormElement | null): void {
  form?.dispatchEvent(new Event("weigh", { bubbles: true }));
}

export function listenToWeights(): void {
  document.addEventListener("input", (event) => {
    const input = event.target;
    if (!(input instanceof HTMLInputElement) || !input.form?.matches(".weigh")) return;
    const pair = pairOf(input);
    if (!pair) return;
    const [slider, field] = pair;
    if (input === slider) field.value = slider.value;
    else slider.value = field.value === "" ? "0" : field.value;
    ask(input.form);
  });
  document.addEventListener("click", (event) => {
    const button = event.target instanceof Element ? event.target.closest<HTMLButtonElement>(".weigh button.step") : null;
    const slider = button?.closest(".weight")?.querySelector<HTMLInputElement>('input[type="range"]');
    const pair = slider ? pairOf(slider) : null;
    if (!button || !pair) return;
    event.preventDefault();
    const by = Number(button.value.split(":")[1]);
    const value = String(Math.min(10, Math.max(0, Number(pair[1].value) + by)));
    for (const input of pair) input.value = value;
    ask(button.form);
  });
}
