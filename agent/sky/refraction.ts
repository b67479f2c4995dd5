/** Air at the telescope. Real refraction within a few degrees of the horizon varies by many arcminutes. */
export interface Air {
  readonly pressureMbar: number;
  readonly temperatureCelsius: number;
}

/** The air that the published refraction formulas are written for. */
export const standardAir: Air = { pressureMbar: 1010, temperatureCelsius: 10 };

/** Pressure at that height in the standard atmosphere [mbar] (ISO 2533 troposphere). */
export function airAtElevation(elevationMetres: number, temperatureCelsius = 10): Air {
  return { pressureMbar: 1013.25 * (1 - 2.25577e-5 * elevationMetres) ** 5.25588, temperatureCelsius };
}

function airFactor(air: Air): number {
  return (air.pressureMbar / 1010) * (283 / (273 + air.temperatureCelsius));
}

/**
 * How much the air lifts a body of that true (airless) altitude [degrees]. Below -1 degree the formula has
 * no meaning (its pole is at -5.1): the value at -1 degree is kept.
 * Source: Saemundsson, Sky & Telescope 72 (1986) 70; the same form in Reda & Andreas, NREL/TP-560-34302.
 */
export function refractionDegrees(trueAltitudeDegrees: number, air: Air = standardAir): number {
  const h = Math.max(-1, trueAltitudeDegrees);
  const arcmin = 1.02 / Math.tan(((h + 10.3 / (h + 5.11)) * Math.PI) / 180);
  return (Math.max(0, arcmin) * airFactor(air)) / 60; // the formula is -0.001 arcmin at the zenith
}

/**
 * How much shorter the disc's vertical diameter looks than its horizontal one, as a fraction: the lower limb
 * is lifted more than the upper. Horizontal shrinking (below 0.03 %) is left out.
 */
export function refractionFlattening(
  trueAltitudeDegrees: number,
  semidiameterDegrees: number,
  air: Air = standardAir,
): number {
  const lower = refractionDegrees(trueAltitudeDegrees - semidiameterDegrees, air);
  const upper = refractionDegrees(trueAltitudeDegrees + semidiameterDegrees, air);
  return (lower - upper) / (2 * semidiameterDegrees);
}
