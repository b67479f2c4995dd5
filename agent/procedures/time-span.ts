/** By the agent's clock. */
export interface TimeSpan {
  readonly fromUtcMs: number;
  /** Left out: it is not over. */
  readonly toUtcMs?: number;
}

export function overlaps(a: TimeSpan, b: TimeSpan): boolean {
  const endsAfter = (one: TimeSpan, other: TimeSpan) => (one.toUtcMs ?? Infinity) >= other.fromUtcMs;
  return endsAfter(a, b) && endsAfter(b, a);
}
