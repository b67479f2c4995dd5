/**
 * Reads a number as an INDI device may write it: decimal, with an exponent, or sexagesimal as `d:m:s`, `d;m;s`,
 * `d m s` or two parts of it (sexagesimal spellings from memory of the protocol paper).
 * @returns NaN for "nan", infinities, and what is no number
 */
export function parseNumber(text: string): number {
  const trimmed = text.trim();
  if (/^[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?$/.test(trimmed)) {
    const value = Number(trimmed);
    return Number.isFinite(value) ? value : Number.NaN;
  }
  const sexagesimal =
    /^([+-]?)\s*(\d+(?:\.\d*)?)\s*[:;\s]\s*(\d+(?:\.\d*)?)(?:\s*[:;\s]\s*(\d+(?:\.\d*)?))?$/.exec(trimmed);
  if (!sexagesimal) return Number.NaN;
  const [, sign, whole, minutes, seconds] = sexagesimal;
  if (Number(minutes) > 60 || Number(seconds ?? 0) > 60) return Number.NaN;
  const size = Number(whole) + Number(minutes) / 60 + Number(seconds ?? 0) / 3600;
  return sign === "-" ? -size : size; // the sign belongs to the whole, also of -0:30
}

/**
 * A finite number as plain decimal text without an exponent, which the reference library's parser needs.
 * @throws RangeError if it is not finite
 */
export function plainDecimal(value: number): string {
  if (!Number.isFinite(value)) throw new RangeError(`${value} can't be sent as a number`);
  const text = String(value === 0 ? 0 : value);
  const match = /^(-?)(\d+)(?:\.(\d+))?e([+-]\d+)$/.exec(text);
  if (!match) return text;
  const [, sign, whole, fraction = "", exponent] = match;
  const digits = whole! + fraction;
  const point = whole!.length + Number(exponent);
  if (point <= 0) return `${sign}0.${"0".repeat(-point)}${digits}`;
  if (point >= digits.length) return `${sign}${digits}${"0".repeat(point - digits.length)}`;
  return `${sign}${digits.slice(0, point)}.${digits.slice(point)}`;
}
