export type TrackRate = "sidereal" | "solar" | "lunar" | "custom";

/** Of the two axes, hour angle and declination. */
export interface AxisRates {
  readonly ha: number;
  readonly dec: number;
}

/**
 * How fast the hour angle grows under each rate [arcsec/s]. Sidereal and mean solar day: Explanatory Supplement
 * to the Astronomical Almanac; lunar is sidereal less the Moon's mean motion of 13.1764° a day (from memory).
 */
export const hourAngleArcsecPerSecond = { sidereal: 15.041067, solar: 15, lunar: 14.492 } as const;

/** [degrees/s]; `custom` is given in arcsec/s. */
export function trackDegreesPerSecond(rate: TrackRate, custom: AxisRates): AxisRates {
  if (rate === "custom") return { ha: custom.ha / 3600, dec: custom.dec / 3600 };
  return { ha: hourAngleArcsecPerSecond[rate] / 3600, dec: 0 };
}
