/** Waits for somebody else's work, and no longer than wanted. @throws the signal's reason */
export function unlessAborted(work: Promise<void>, signal: AbortSignal): Promise<void> {
  return new Promise((resolve, reject) => {
    if (signal.aborted) {
      reject(signal.reason);
      return;
    }
    const onAbort = () => reject(signal.reason);
    signal.addEventListener("abort", onAbort, { once: true });
    const done = () => {
      signal.removeEventListener("abort", onAbort);
      resolve();
    };
    work.then(done, done);
  });
}
