export type ParameterValue = number | boolean | string;

/** Names exactly as the standard writes them: a device refuses or overlooks any other casing. */
export type Parameters = Readonly<Record<string, ParameterValue>>;

/** For a query and for a form alike. */
export function encodeParameters(parameters: Parameters): string {
  return Object.entries(parameters)
    .map(([name, value]) => `${name}=${encodeURIComponent(parameterText(value))}`)
    .join("&");
}

function parameterText(value: ParameterValue): string {
  if (typeof value === "number") return numberText(value);
  if (typeof value === "boolean") return value ? "True" : "False";
  return value;
}

/**
 * With a full stop whatever the locale, and never with an exponent, which small devices cannot read.
 * @throws RangeError for what is no finite number: the protocol cannot say it
 */
export function numberText(value: number): string {
  if (!Number.isFinite(value)) throw new RangeError(`${value} cannot be sent to a device`);
  const short = String(value);
  if (!short.includes("e")) return short;
  if (Math.abs(value) >= 1e21) return BigInt(value).toString();
  return value
    .toFixed(20)
    .replace(/\.?0+$/, "")
    .replace(/^-0$/, "0");
}
