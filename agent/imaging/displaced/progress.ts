export interface DisplacedProgress {
  readonly stage: "reading" | "registering" | "solving";
  /** 0 … 1, of the whole. */
  readonly done: number;
}

/** Passes a generator's pauses on as progress from `start`, `share` long, of about `steps` steps. Given back early, so is `work`. */
export function* reportProgress<T>(
  work: Generator<void, T>,
  stage: DisplacedProgress["stage"],
  start: number,
  share: number,
  steps: number,
): Generator<DisplacedProgress, T> {
  using _ = work;
  for (let step = 0; ; step++) {
    const next = work.next();
    if (next.done) return next.value;
    yield { stage, done: start + share * Math.min(1, step / steps) };
  }
}
