/** A campaign's figures, one line each: what, measured, goal. */
export function printTable(
  print: ((line: string) => void) | undefined,
  title: string,
  rows: readonly (readonly [name: string, value: string | number, goal: string])[],
): void {
  if (!print) return;
  const width = Math.max(...rows.map(([name]) => name.length));
  print(title);
  for (const [name, value, goal] of rows)
    print(`  ${name.padEnd(width)}  ${String(value).padStart(10)}${goal ? `  (goal ${goal})` : ""}`);
}
