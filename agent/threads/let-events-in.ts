/** Between steps of long work: lets what else is due happen, and what other threads say be heard. */
export function letEventsIn(): Promise<void> {
  return new Promise((resolve) => setImmediate(resolve));
}
