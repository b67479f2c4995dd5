/**
 * Air mass, 1 at the zenith, from the true altitude [degrees].
 * Source: Kasten & Young, Applied Optics 28 (1989) 4735; coefficients from memory, checked against their table's ends.
 */
export function airMass(altitudeDegrees: number): number {
  const h = Math.max(0, altitudeDegrees); // below the horizon there is no path to speak of
  return 1 / (Math.sin((h * Math.PI) / 180) + 0.50572 * (h + 6.07995) ** -1.6364);
}

/**
 * How much longer an exposure must be at one altitude than at another for the same level.
 * @param extinctionMagnitudes dimming per unit of air mass [mag]; 0.12 is a start, the rig's history knows better
 */
export function extinctionRatio(
  fromAltitudeDegrees: number,
  toAltitudeDegrees: number,
  extinctionMagnitudes = 0.12,
): number {
  return 10 ** (0.4 * extinctionMagnitudes * (airMass(toAltitudeDegrees) - airMass(fromAltitudeDegrees)));
}
