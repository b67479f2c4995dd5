/** What is known of the light and the sensor, to tell where fringes come from. */
export interface FringeLight {
  readonly pixelMicron: number;
  readonly wavelengthNm: number;
  /** Full width at half maximum of what the filter lets through. */
  readonly bandwidthAngstrom?: number;
}

/** Usual optical glass in red light. */
const glassIndex = 1.52;
const arcminPerRadian = (60 * 180) / Math.PI;
/** What is commonly advised; common practice, no source. */
const usualTiltDegrees = [2, 5] as const;

/**
 * Fringes of a wedge, spacing = λ / (2 n α): of an angle [rad] the spacing [mm], and of a spacing the angle.
 * Source: two-beam interference at nearly normal incidence, e.g. Born & Wolf, Principles of Optics, ch. 7 (from memory).
 */
export function wedgeAndSpacing(wavelengthNm: number, index: number, radiansOrMm: number): number {
  return (wavelengthNm * 1e-6) / (2 * index * radiansOrMm);
}

/** Spacing of the fringes between the sensor and a face before it that is tilted against it, air between [µm]. */
export function spacingAtTiltMicron(wavelengthNm: number, tiltDegrees: number): number {
  return (wavelengthNm * 1e-3) / (2 * Math.sin((tiltDegrees * Math.PI) / 180));
}

/** Light of that bandwidth makes fringes where the paths differ by less than about this [mm]. */
export function coherenceLengthMm(wavelengthNm: number, bandwidthAngstrom: number): number {
  return (wavelengthNm * 1e-6) ** 2 / (bandwidthAngstrom * 1e-7);
}

/** What fringes of that period say of the surfaces that make them. */
export interface FringeOrigin {
  readonly spacingMm: number;
  /** Angle between two faces of one glass. */
  readonly glassWedgeArcmin: number;
  /** Angle between two faces with air between, sensor and window for one. */
  readonly airWedgeArcmin: number;
  /** Thickest glass, and widest gap of air, whose faces can make fringes; light goes there and back. */
  readonly glassMmMost?: number;
  readonly airMmMost?: number;
  /** At the least and the most tilt that is commonly advised [µm]. */
  readonly spacingAtUsualTiltMicron: readonly [number, number];
}

export function fringeOrigin(periodPx: number, light: FringeLight): FringeOrigin {
  const { pixelMicron, wavelengthNm, bandwidthAngstrom } = light;
  const spacingMm = (periodPx * pixelMicron) / 1000;
  const coherentMm =
    bandwidthAngstrom === undefined ? undefined : coherenceLengthMm(wavelengthNm, bandwidthAngstrom);
  return {
    spacingMm,
    glassWedgeArcmin: wedgeAndSpacing(wavelengthNm, glassIndex, spacingMm) * arcminPerRadian,
    airWedgeArcmin: wedgeAndSpacing(wavelengthNm, 1, spacingMm) * arcminPerRadian,
    ...(coherentMm === undefined
      ? {}
      : { glassMmMost: coherentMm / (2 * glassIndex), airMmMost: coherentMm / 2 }),
    spacingAtUsualTiltMicron: [
      spacingAtTiltMicron(wavelengthNm, usualTiltDegrees[0]),
      spacingAtTiltMicron(wavelengthNm, usualTiltDegrees[1]),
    ],
  };
}

/** In a sentence or two, to go with the advice. */
export function describeOrigin(origin: FringeOrigin, { pixelMicron }: FringeLight): string {
  const { glassWedgeArcmin, airWedgeArcmin, glassMmMost, airMmMost, spacingAtUsualTiltMicron } = origin;
  const [least, most] = spacingAtUsualTiltMicron.map((micron) => (micron / pixelMicron).toPrecision(2));
  const thin =
    glassMmMost === undefined || airMmMost === undefined
      ? ""
      : ` no further apart than about ${glassMmMost.toPrecision(2)} mm of glass or ${airMmMost.toPrecision(2)} mm of air`;
  return (
    `Look for faces${thin} that are ${airWedgeArcmin.toPrecision(2)} arcmin from parallel with air between them, ` +
    `or ${glassWedgeArcmin.toPrecision(2)} arcmin in one piece of glass. ` +
    `Tilted by ${usualTiltDegrees[0]} to ${usualTiltDegrees[1]} degrees, sensor and window make fringes of ${least} to ` +
    `${most} px: the finer they are, the more the pixels blur them.`
  );
}
