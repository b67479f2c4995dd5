export type Verdict = "good" | "usable" | "bad";

/** One number of a file, with what it means for its use where there is a limit. */
export interface Figure {
  readonly name: string;
  readonly value: number;
  readonly unit: "adu" | "%" | "px" | "";
  readonly verdict?: Verdict;
  /** What would be good, and what usable. */
  readonly limits?: string;
}

interface Limits {
  readonly good: readonly [least: number, most: number];
  readonly usable: readonly [least: number, most: number];
}

const any = Number.POSITIVE_INFINITY;

/**
 * Limits in the unit of the figure. A processed image of the Sun is stretched about five times, and a step of 1 % is
 * just visible afterwards: 0.2 % must not be exceeded, 0.5 % shows. Own reasoning, no source.
 */
export const limits = {
  upperEdgePercent: { good: [75, 90], usable: [50, 95] },
  clippedPercent: { good: [0, 1e-3], usable: [0, 0.1] },
  masterNoisePercent: { good: [0, 0.2], usable: [0, 0.5] },
  cornerPercent: { good: [50, any], usable: [25, any] },
  blackPercent: { good: [0, 0.01], usable: [0, 0.1] },
} as const satisfies Record<string, Limits>;

export function graded(name: string, value: number, unit: Figure["unit"], { good, usable }: Limits): Figure {
  const inside = ([least, most]: readonly [number, number]) => value >= least && value <= most;
  return {
    name,
    value,
    unit,
    verdict: inside(good) ? "good" : inside(usable) ? "usable" : "bad",
    limits: `good ${rangeText(good)}, usable ${rangeText(usable)}`,
  };
}

function rangeText([least, most]: readonly [number, number]): string {
  if (most === any) return `from ${least}`;
  return least === 0 ? `up to ${most}` : `${least} to ${most}`;
}

export function worst(verdicts: readonly Verdict[]): Verdict {
  if (verdicts.includes("bad")) return "bad";
  return verdicts.includes("usable") ? "usable" : "good";
}
