/** Mean and variance of a stream of numbers. Source: B. P. Welford, Technometrics 4 (1962) 419 (from memory). */
export class RunningMoments {
  count = 0;
  mean = 0;
  #squares = 0;

  add(value: number): void {
    this.count++;
    const before = value - this.mean;
    this.mean += before / this.count;
    this.#squares += before * (value - this.mean);
  }

  /** With n - 1; `undefined` below two values. */
  get variance(): number | undefined {
    return this.count < 2 ? undefined : this.#squares / (this.count - 1);
  }
}
