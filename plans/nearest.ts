/** Number of single-letter edits between two words. */
function editDistance(a: string, b: string): number {
  let row = Array.from({ length: b.length + 1 }, (_, j) => j);
  for (let i = 1; i <= a.length; i++) {
    const next = [i];
    for (let j = 1; j <= b.length; j++) {
      const substituted = row[j - 1]! + (a[i - 1] === b[j - 1] ? 0 : 1);
      next.push(Math.min(substituted, row[j]! + 1, next[j - 1]! + 1));
    }
    row = next;
  }
  return row[b.length]!;
}

function sharedStart(a: string, b: string): number {
  let length = 0;
  while (length < a.length && a[length] === b[length]) length++;
  return length;
}

/**
 * The allowed word that a misspelt one most likely meant; `undefined` when none is near.
 * A long shared start counts too, so that `apertureInches` finds `apertureMm`.
 */
export function nearestWord(word: string, allowed: readonly string[]): string | undefined {
  const plain = word.toLowerCase();
  let best: { word: string; cost: number } | undefined;
  for (const candidate of allowed) {
    const other = candidate.toLowerCase();
    const distance = editDistance(plain, other);
    const start = sharedStart(plain, other);
    const near =
      distance <= Math.max(2, Math.floor(other.length / 3)) || (start >= 5 && start >= other.length / 2);
    const cost = distance - start;
    if (near && (best === undefined || cost < best.cost)) best = { word: candidate, cost };
  }
  return best?.word;
}
