// Plain arithmetic of a control: onto its grid, inside its range, round the clock.

export interface Range {
  low: number;
  high: number;
  step: number;
  turns: boolean;
}

export const HOURS = 12;

export function fit(value: number, range: Range): number {
  const onGrid = Math.round(value / range.step) * range.step;
  if (range.turns) {
    const wrapped = ((onGrid % HOURS) + HOURS) % HOURS;
    return wrapped === 0 ? HOURS : wrapped;
  }
  return Math.min(range.high, Math.max(range.low, onGrid));
}

export function written(value: number): string {
  return String(Number(value.toFixed(4)));
}
