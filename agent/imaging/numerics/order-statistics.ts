/**
 * The k-th smallest value, k from 0. Reorders `values`.
 * One function for one array type: a hot loop that meets several types runs many times slower.
 * Source: C. A. R. Hoare, Communications of the ACM 4 (1961) 321 (algorithm 65, "find").
 */
export function selectInPlace(values: Float64Array, k: number, length = values.length): number {
  let left = 0;
  let right = length - 1;
  while (left < right) {
    const pivot = values[(left + right) >> 1]!;
    let i = left;
    let j = right;
    while (i <= j) {
      while (values[i]! < pivot) i++;
      while (values[j]! > pivot) j--;
      if (i > j) break;
      const swap = values[i]!;
      values[i++] = values[j]!;
      values[j--] = swap;
    }
    if (k <= j) right = j;
    else if (k >= i) left = i;
    else break;
  }
  return values[k]!;
}

/** Median of the first `length` values; an even count takes the mean of the two in the middle. Reorders `values`. */
export function medianInPlace(values: Float64Array, length = values.length): number | undefined {
  if (length === 0) return undefined;
  const upper = selectInPlace(values, length >> 1, length);
  if (length & 1) return upper;
  let lower = Number.NEGATIVE_INFINITY;
  for (let i = 0; i < length >> 1; i++) if (values[i]! > lower) lower = values[i]!;
  return (lower + upper) / 2;
}

export function median(values: ArrayLike<number>): number | undefined {
  return medianInPlace(new Float64Array(values));
}

/** Linear between neighbours in order (Hyndman and Fan's type 7). `fraction` 0 … 1. */
export function quantile(values: ArrayLike<number>, fraction: number): number | undefined {
  const sorted = new Float64Array(values).sort();
  if (sorted.length === 0) return undefined;
  const place = fraction * (sorted.length - 1);
  const low = Math.floor(place);
  const high = Math.min(low + 1, sorted.length - 1);
  return sorted[low]! + (sorted[high]! - sorted[low]!) * (place - low);
}

/** Median, and the standard deviation as the median absolute deviation tells it (times 1.4826). */
export function medianAndSigma(values: ArrayLike<number>): { median: number; sigma: number } | undefined {
  const copy = new Float64Array(values);
  const middle = medianInPlace(copy);
  if (middle === undefined) return undefined;
  for (let i = 0; i < copy.length; i++) copy[i] = Math.abs(copy[i]! - middle);
  return { median: middle, sigma: 1.4826 * medianInPlace(copy)! };
}
