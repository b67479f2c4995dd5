/**
 * The linear model of a sensor: what mean, variance and best figures follow from three numbers.
 * Source: EMVA 1288 linear, releases 3.1 and 4.0; the smallest detectable signal from memory.
 */
export interface LinearSensor {
  readonly aduPerElectron: number;
  /** Temporal noise without light, before quantisation [e-]. */
  readonly darkNoiseElectrons: number;
  /** Pedestal with dark current [adu]. */
  readonly pedestalAdu: number;
}

/** Variance of rounding to whole steps of 1 adu [adu²]. */
const roundingVarianceAdu2 = 1 / 12;

export function meanAdu(sensor: LinearSensor, signalElectrons: number): number {
  return sensor.pedestalAdu + sensor.aduPerElectron * signalElectrons;
}

/** Temporal variance of one pixel [adu²]: dark noise, rounding, and photons. */
export function varianceAdu2(sensor: LinearSensor, signalElectrons: number): number {
  const { aduPerElectron } = sensor;
  return darkVarianceAdu2(sensor) + aduPerElectron ** 2 * signalElectrons;
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
}

export function sensorFigures(sensor: LinearSensor, saturationElectrons: number): SensorFigures {
  const dark = darkVarianceAdu2(sensor);
  const minDetectableElectrons = Math.sqrt(dark / sensor.aduPerElectron ** 2 + 0.25) + 0.5;
  const snrMax = Math.sqrt(saturationElectrons);
  return {
    darkVarianceAdu2: dark,
    minDetectableElectrons,
    dynamicRangeDb: 20 * Math.log10(saturationElectrons / minDetectableElectrons),
    snrMax,
    snrMaxDb: 20 * Math.log10(snrMax),
    snrMaxBits: Math.log2(snrMax),
  };
}

function darkVarianceAdu2({ aduPerElectron, darkNoiseElectrons }: LinearSensor): number {
  return (aduPerElectron * darkNoiseElectrons) ** 2 + roundingVarianceAdu2;
}
