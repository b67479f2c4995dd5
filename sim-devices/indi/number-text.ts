/** A number as C's `%.20g` prints it, which is what the reference library sends. */
export function printNumber(value: number): string {
  if (!Number.isFinite(value)) return Number.isNaN(value) ? "nan" : value > 0 ? "inf" : "-inf";
  if (Number.isInteger(value) && Math.abs(value) < 1e15) return Object.is(value, -0) ? "-0" : String(value);
  const [digits = "", power = ""] = value.toExponential(19).split("e");
  const exponent = Number(power);
  if (exponent < -4 || exponent >= 20) {
    return `${trimZeros(digits)}e${exponent < 0 ? "-" : "+"}${String(Math.abs(exponent)).padStart(2, "0")}`;
  }
  return trimZeros(value.toFixed(Math.max(0, 19 - exponent)));
}

function trimZeros(text: string): string {
  return text.includes(".") ? text.replace(/\.?0+$/, "") : text;
}

/**
 * A number as the reference library reads it: up to three numbers split by anything, a + b/60 + c/3600.
 * @returns undefined for text without a number in front
 */
export function readNumber(text: string): number | undefined {
  const trimmed = text.trim();
  if (/^[+-]?nan$/i.test(trimmed)) return Number.NaN;
  const number = /^[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d+)?/i;
  const first = number.exec(trimmed);
  if (!first) return undefined;
  const parts = [Number(first[0])];
  let rest = trimmed.slice(first[0].length);
  while (parts.length < 3) {
    const next = /^[^\d.](\d+\.?\d*|\.\d+)/.exec(rest);
    if (!next) break;
    parts.push(Number(next[1]));
    rest = rest.slice(next[0].length);
  }
  const [a = 0, b = 0, c = 0] = parts;
  const size = Math.abs(a) + b / 60 + c / 3600;
  return trimmed.startsWith("-") ? -size : size;
}
