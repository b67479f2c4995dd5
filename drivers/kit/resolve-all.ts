/**
 * Values that are waited for side by side, in their order. A failure is told when all have come to their ends, so that
 * nothing goes on behind whoever hears of it. @throws the first failure of the list
 */
export async function resolveEach<T>(wanted: readonly (Promise<T> | T)[]): Promise<T[]> {
  const ends = await Promise.allSettled(wanted);
  return ends.map((end) => {
    if (end.status === "rejected") throw end.reason;
    return end.value;
  });
}

/** The same by their names. */
export async function resolveAll<T extends Readonly<Record<string, unknown>>>(
  wanted: T,
): Promise<{ -readonly [K in keyof T]: Awaited<T[K]> }> {
  const values = await resolveEach<unknown>(Object.values(wanted));
  return Object.fromEntries(Object.keys(wanted).map((name, i) => [name, values[i]])) as {
    -readonly [K in keyof T]: Awaited<T[K]>;
  };
}
