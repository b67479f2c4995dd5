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

/** Fraction digits of `%<w>.<f>m` → units per degree, and how the fraction is printed. */
const sexagesimalForms: Record<string, { perDegree: number; print: (fraction: number) => string }> = {
  "9": { perDegree: 360_000, print: (f) => `:${two(f / 6000)}:${two((f % 6000) / 100)}.${two(f % 100)}` },
  "8": { perDegree: 36_000, print: (f) => `:${two(f / 600)}:${two((f % 600) / 10)}.${Math.floor(f % 10)}` },
  "6": { perDegree: 3600, print: (f) => `:${two(f / 60)}:${two(f % 60)}` },
  "5": { perDegree: 600, print: (f) => `:${two(f / 10)}.${Math.floor(f % 10)}` },
  "3": { perDegree: 60, print: (f) => `:${two(f)}` },
};

function two(value: number): string {
  return String(Math.floor(value)).padStart(2, "0");
}

/** A number as the device wants it shown: printf's `f e g d` or the protocol's own sexagesimal `%<w>.<f>m`. */
export function formatNumber(value: number, format: string): string {
  if (!Number.isFinite(value)) return String(value);
  const sexagesimal = /%(\d*)\.?(\d*)m/.exec(format);
  if (sexagesimal) {
    const [, width = "", digits = ""] = sexagesimal;
    const form = sexagesimalForms[digits] ?? sexagesimalForms["6"]!;
    const units = Math.round(Math.abs(value) * form.perDegree);
    const negative = value < 0 && units > 0;
    const whole = `${negative ? "-" : ""}${Math.floor(units / form.perDegree)}`;
    return whole.padStart(Math.max(0, Number(width) - Number(digits))) + form.print(units % form.perDegree);
  }
  const printf = /%([-+ 0]*)(\d*)(?:\.(\d*))?l?([dieEfFgG])/.exec(format);
  if (!printf) return String(value);
  const [, flags = "", width = "", precision, letter = "g"] = printf;
  const digits = precision === undefined ? 6 : Number(precision);
  const kind = letter.toLowerCase();
  let text: string;
  if (kind === "d" || kind === "i") text = String(Math.trunc(value));
  else if (kind === "f") text = value.toFixed(Math.min(digits, 100));
  else if (kind === "e") text = value.toExponential(Math.min(digits, 100));
  else text = String(Number(value.toPrecision(Math.min(Math.max(digits, 1), 100))));
  if (flags.includes("+") && value >= 0) text = `+${text}`;
  if (flags.includes("-")) return text.padEnd(Number(width));
  if (flags.includes("0")) {
    const sign = /^[+-]/.exec(text)?.[0] ?? "";
    return sign + text.slice(sign.length).padStart(Number(width) - sign.length, "0");
  }
  return text.padStart(Number(width));
}
