import type { CodeCounts } from "./histogram.ts";

/** How a converter of fewer bits fills a 16-bit word. */
export type WordScaling = "every code" | "even steps" | "top bits repeated" | "rounded";

export interface ConverterCodes {
  readonly depthBits: number;
  readonly dialect: WordScaling;
  /** Least difference between codes [adu]; its noise is step/√12. */
  readonly stepAdu: number;
  /** Highest code that such a converter can give [adu]. */
  readonly topAdu: number;
}

/**
 * Reads off the occupied codes how the words are filled: `v·16`, `v·16 + v>>8` or `round(v·65535/4095)` for 12 bits,
 * likewise for 10 and 14. Needs a frame with many different codes; too few tell nothing and count as `every code`.
 */
export function converterCodes(counts: CodeCounts): ConverterCodes {
  const occupied: number[] = [];
  for (let code = 0; code < counts.length; code++) if (counts[code]! > 0) occupied.push(code);
  if (occupied.length >= 8) {
    const step = occupied.reduce(greatestCommonDivisor, 0);
    if (step > 1) {
      const depthBits = 16 - Math.floor(Math.log2(step));
      return {
        depthBits,
        dialect: "even steps",
        stepAdu: step,
        topAdu: (Math.floor(65536 / step) - 1) * step,
      };
    }
    const lowBits = occupied.at(-1)! < 16384 ? bitsFor(occupied.at(-1)!) : 16;
    if (lowBits < 16)
      return { depthBits: lowBits, dialect: "every code", stepAdu: 1, topAdu: 2 ** lowBits - 1 };
    for (const depthBits of [10, 12, 14]) {
      const stepAdu = 2 ** (16 - depthBits);
      for (const dialect of ["top bits repeated", "rounded"] as const) {
        if (occupied.every((code) => isCodeOf(dialect, depthBits, code)))
          return { depthBits, dialect, stepAdu, topAdu: 65535 };
      }
    }
  }
  return { depthBits: 16, dialect: "every code", stepAdu: 1, topAdu: 65535 };
}

/** The 16-bit word that a dialect makes of a converter's own value. */
export function wordOf(
  dialect: Exclude<WordScaling, "every code">,
  depthBits: number,
  value: number,
): number {
  const shifted = value * 2 ** (16 - depthBits);
  if (dialect === "even steps") return shifted;
  if (dialect === "top bits repeated") return shifted + (value >> (2 * depthBits - 16));
  return Math.round((value * 65535) / (2 ** depthBits - 1));
}

const knownTops = [1023, 4095, 16383, 65472, 65520, 65532, 65535];

/** Whether a converter of 10, 12, 14 or 16 bits gives that code when it is full. */
export function isKnownTop(adu: number): boolean {
  return knownTops.includes(adu);
}

/**
 * The code at which a frame is clipped, seen as a pile of pixels on its highest code.
 * Some sensors clip below their converter's top, so a pile counts wherever it is; a known top counts by itself.
 * @returns [adu], or `undefined` when nothing in the frame is clipped
 */
export function clipLevelAdu(counts: CodeCounts): number | undefined {
  let top = counts.length - 1;
  while (top >= 0 && counts[top] === 0) top--;
  if (top <= 0) return undefined;
  let seen = 0;
  let neighbours = 0;
  for (let code = top - 1; code >= 0 && seen < 20; code--) {
    if (counts[code]! > 0) {
      neighbours += counts[code]!;
      seen++;
    }
  }
  const pile = seen > 0 ? counts[top]! > 5 * Math.max(1, neighbours / seen) : counts[top]! > 1;
  return pile || isKnownTop(top) ? top : undefined;
}

function isCodeOf(dialect: "top bits repeated" | "rounded", depthBits: number, code: number): boolean {
  const guess = Math.floor(code / 2 ** (16 - depthBits));
  for (let value = Math.max(0, guess - 1); value <= guess + 1; value++)
    if (wordOf(dialect, depthBits, value) === code) return true;
  return false;
}

function bitsFor(code: number): number {
  return [10, 12, 14].find((bits) => code < 2 ** bits)!;
}

function greatestCommonDivisor(a: number, b: number): number {
  let [x, y] = [a, b];
  while (y > 0) [x, y] = [y, x % y];
  return x;
}
