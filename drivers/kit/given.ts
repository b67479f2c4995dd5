/** What has a value, to be spread into an object whose keys may be left out but not `undefined`. */
export function given<T extends object>(parts: T): { [Key in keyof T]?: Exclude<T[Key], undefined> } {
  return Object.fromEntries(Object.entries(parts).filter(([, value]) => value !== undefined)) as {
    [Key in keyof T]?: Exclude<T[Key], undefined>;
  };
}
