/** Mean and variance of a stream of numbers. Source: B. P. Welford, Technometrics 4 (1962) 419 (from memory). */
export class RunningMoments {
  count = 0;
  mean = 0;
  #squares = 0;

  static of(values: Iterable<number>): RunningMoments {
    const moments = new RunningMoments();
    for (const value of values) moments.add(value);
    return moments;
  }

  add(value: number): void {
    this.count++;
    const before = value - this.mean;
    this.mean += before / this.count;
    this.#squares += before * (value - this.mean);
  }

  /** Of the values themselves, with n; 0 without any. */
  get variance(): number {
    return this.#squares / Math.max(1, this.count);
  }

  /** Of what they were drawn from, with n - 1; 0 below two values. */
  get sampleVariance(): number {
    return this.#squares / Math.max(1, this.count - 1);
  }
}
