// Sentences that scripts show: they come with the page, in its language. Places look like {this}.
export function words(name: string, values: Record<string, string | number> = {}): string {
  const said = document.querySelector<HTMLElement>("#words")?.dataset[name] ?? "";
  return said.replace(/\{(\w+)\}/g, (whole, key: string) => String(values[key] ?? whole));
}

// One word for one, another for several.
export function counted(name: string, count: number): string {
  return words(count === 1 ? `${name}One` : `${name}Many`, { count });
}
