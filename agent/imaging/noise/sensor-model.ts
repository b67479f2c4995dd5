/**
 * The linear model of a sensor: what mean, variance and best figures follow from a few numbers.
 * Source: EMVA 1288 linear, releases 3.1 and 4.0; the smallest detectable signal from memory.
 */
export interface LinearSensor {
  readonly aduPerElectron: number;
  /** Temporal noise without light, before quantisation [e-]. */
  readonly darkNoiseElectrons: number;
  /** Pedestal with dark current [adu]. */
  readonly pedestalAdu: number;
  /** What values are rounded to [adu]; 1 unless told. */
  readonly stepAdu?: number;
}

export function meanAdu(sensor: LinearSensor, signalElectrons: number): number {
  return sensor.pedestalAdu + sensor.aduPerElectron * signalElectrons;
}

/** Signal that makes a level: the inverse of `meanAdu` [e-]. */
export function signalElectrons(sensor: LinearSensor, levelAdu: number): number {
  return (levelAdu - sensor.pedestalAdu) / sensor.aduPerElectron;
}

/** Temporal variance of one pixel [adu²]: dark noise, rounding, and photons. */
export function varianceAdu2(sensor: LinearSensor, electrons: number): number {
  return darkVarianceAdu2(sensor) + sensor.aduPerElectron ** 2 * electrons;
}

export interface SensorFigures {
  readonly darkVarianceAdu2: number;
  /** Signal that equals its own noise [e-]. */
  readonly minDetectableElectrons: number;
  readonly dynamicRangeDb: number;
  /** Signal over noise at saturation, photon noise alone. */
  readonly snrMax: number;
  readonly snrMaxDb: number;
  readonly snrMaxBits: number;
  /** From this level on photons make more noise than everything else. */
  readonly photonNoiseFromAdu: number;
}

export function sensorFigures(sensor: LinearSensor, saturationElectrons: number): SensorFigures {
  const dark = darkVarianceAdu2(sensor);
  const darkElectrons2 = dark / sensor.aduPerElectron ** 2;
  const minDetectableElectrons = Math.sqrt(darkElectrons2 + 0.25) + 0.5;
  const snrMax = Math.sqrt(saturationElectrons);
  return {
    darkVarianceAdu2: dark,
    minDetectableElectrons,
    dynamicRangeDb: 20 * Math.log10(saturationElectrons / minDetectableElectrons),
    snrMax,
    snrMaxDb: 20 * Math.log10(snrMax),
    snrMaxBits: Math.log2(snrMax),
    photonNoiseFromAdu: meanAdu(sensor, darkElectrons2),
  };
}

/** Rounding to steps of Δ adds Δ²/12. */
function darkVarianceAdu2({ aduPerElectron, darkNoiseElectrons, stepAdu = 1 }: LinearSensor): number {
  return (aduPerElectron * darkNoiseElectrons) ** 2 + stepAdu ** 2 / 12;
}
