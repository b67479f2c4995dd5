import type { DomeSpec } from "./dome.ts";

/** How the parts move that the scene itself says nothing of. */
export interface MechanicsSpec {
  readonly coverSeconds: number;
  readonly diffuserSeconds: number;
  readonly wheelSlotsPerSecond: number;
  readonly rotatorDegreesPerSecond: number;
  readonly coolerDegreesPerSecond: number;
  readonly parkAt: { readonly hourAngleDegrees: number; readonly decDegrees: number };
  readonly dome: DomeSpec;
}

/** Parked at the pole, which is never near the Sun; the roof is open and slides off whole. */
export const usualMechanics: MechanicsSpec = {
  coverSeconds: 5,
  diffuserSeconds: 4,
  wheelSlotsPerSecond: 2,
  rotatorDegreesPerSecond: 10,
  coolerDegreesPerSecond: 0.5,
  parkAt: { hourAngleDegrees: -90, decDegrees: 90 },
  dome: {
    degreesPerSecond: 10,
    shutterSeconds: 5,
    startsOpen: true,
    startAzimuthDegrees: 90,
    parkAzimuthDegrees: 90,
    slitHalfWidthDegrees: 180,
  },
};
