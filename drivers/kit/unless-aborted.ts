/** Waits for somebody else's work, and no longer than wanted. @throws what the work throws, or the signal's reason */
export async function unlessAborted<Result>(work: Promise<Result>, signal: AbortSignal): Promise<Result> {
  const { promise: aborted, reject } = Promise.withResolvers<never>();
  const onAbort = () => reject(signal.reason);
  signal.addEventListener("abort", onAbort, { once: true });
  if (signal.aborted) onAbort();
  try {
    return await Promise.race([aborted, work]);
  } finally {
    signal.removeEventListener("abort", onAbort);
  }
}
