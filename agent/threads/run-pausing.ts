/**
 * Runs work that pauses; at every pause events come in, and `onPause` is called with what the work says.
 * @throws what either throws; the work is given back then
 */
export async function runPausing<Step, Result>(
  work: Generator<Step, Result>,
  onPause: (step: Step) => void,
): Promise<Result> {
  using given = work;
  for (;;) {
    const step = given.next();
    if (step.done) return step.value;
    onPause(step.value);
    await new Promise((resolve) => setImmediate(resolve));
  }
}
