import type { PointPx } from "./circle-fit.ts";

/** A small move of the line of sight, true arcseconds on the sky. */
export interface SkyMove {
  readonly eastArcsec: number;
  readonly northArcsec: number;
}

/** How the picture moves when the line of sight moves: shift [px] = M · move [arcsec], M row by row. */
export interface CameraMatrix {
  readonly pxPerArcsec: readonly [number, number, number, number];
  readonly arcsecPerPx: number;
  /** Direction in which the picture moves when the line of sight moves east, from x towards y [degrees]. */
  readonly angleDegrees: number;
  /** -1 when the picture is mirrored. */
  readonly parity: 1 | -1;
}

export interface Nudge {
  readonly move: SkyMove;
  readonly shiftPx: PointPx;
}

export type Calibration =
  | { readonly accepted: true; readonly camera: CameraMatrix }
  | { readonly accepted: false; readonly reason: string };

/** Columns of a true camera are equal and square to each other; more than this apart, something slipped. */
const lengthMismatchMax = 0.15;
const angleMismatchDegreesMax = 10;

/**
 * Scale, angle and parity of the camera from two nudges in different directions.
 * The rules of rejection are our own: a slipped or swallowed nudge (backlash) shows as unequal or skew columns.
 */
export function calibrateCamera(first: Nudge, second: Nudge): Calibration {
  const s11 = first.move.eastArcsec;
  const s21 = first.move.northArcsec;
  const s12 = second.move.eastArcsec;
  const s22 = second.move.northArcsec;
  const determinant = s11 * s22 - s12 * s21;
  const sine = Math.abs(determinant) / (Math.hypot(s11, s21) * Math.hypot(s12, s22));
  if (!(sine > 0.2)) return { accepted: false, reason: "the two nudges were nearly parallel" };
  const p11 = first.shiftPx.xPx;
  const p21 = first.shiftPx.yPx;
  const p12 = second.shiftPx.xPx;
  const p22 = second.shiftPx.yPx;
  const matrix = [
    (p11 * s22 - p12 * s21) / determinant,
    (p12 * s11 - p11 * s12) / determinant,
    (p21 * s22 - p22 * s21) / determinant,
    (p22 * s11 - p21 * s12) / determinant,
  ] as const;
  const [m11, m12, m21, m22] = matrix;
  const eastLength = Math.hypot(m11, m21);
  const northLength = Math.hypot(m12, m22);
  if (eastLength === 0 || northLength === 0)
    return { accepted: false, reason: "a nudge did not move the picture" };
  const mismatch = Math.max(eastLength, northLength) / Math.min(eastLength, northLength) - 1;
  if (mismatch > lengthMismatchMax) {
    return {
      accepted: false,
      reason: `moving east and north shift the picture by lengths ${percent(mismatch)} apart`,
    };
  }
  const cosine = (m11 * m12 + m21 * m22) / (eastLength * northLength);
  const skewDegrees = (Math.abs(Math.asin(Math.max(-1, Math.min(1, cosine)))) * 180) / Math.PI;
  if (skewDegrees > angleMismatchDegreesMax) {
    return { accepted: false, reason: `moving east and north are ${skewDegrees.toFixed(1)}° from square` };
  }
  return { accepted: true, camera: cameraFrom(matrix) };
}

export function cameraFrom(pxPerArcsec: readonly [number, number, number, number]): CameraMatrix {
  const [m11, m12, m21, m22] = pxPerArcsec;
  const determinant = m11 * m22 - m12 * m21;
  return {
    pxPerArcsec,
    arcsecPerPx: Math.abs(determinant) ** -0.5,
    angleDegrees: (Math.atan2(m21, m11) * 180) / Math.PI,
    parity: determinant < 0 ? -1 : 1,
  };
}

/** The move of the line of sight that shifts the picture by that much. */
export function moveForShift(camera: Pick<CameraMatrix, "pxPerArcsec">, shiftPx: PointPx): SkyMove {
  const [m11, m12, m21, m22] = camera.pxPerArcsec;
  const determinant = m11 * m22 - m12 * m21;
  return {
    eastArcsec: (m22 * shiftPx.xPx - m12 * shiftPx.yPx) / determinant,
    northArcsec: (m11 * shiftPx.yPx - m21 * shiftPx.xPx) / determinant,
  };
}

/** The move that brings what now lies at `offsetPx` from the frame's centre to the centre. */
export function moveToCentre(camera: Pick<CameraMatrix, "pxPerArcsec">, offsetPx: PointPx): SkyMove {
  return moveForShift(camera, { xPx: -offsetPx.xPx, yPx: -offsetPx.yPx });
}

/** How the picture shifts when the line of sight moves so. */
export function shiftForMove(camera: Pick<CameraMatrix, "pxPerArcsec">, move: SkyMove): PointPx {
  const [m11, m12, m21, m22] = camera.pxPerArcsec;
  return {
    xPx: m11 * move.eastArcsec + m12 * move.northArcsec,
    yPx: m21 * move.eastArcsec + m22 * move.northArcsec,
  };
}

/**
 * Whether a kept matrix still foretells how the picture moves: the shift seen lies within a quarter of the
 * foretold length, plus what backlash may swallow. A camera turned by 15 degrees or mirrored fails.
 */
export function isMatrixConfirmed(camera: CameraMatrix, seen: Nudge, allowedLossArcsec: number): boolean {
  const foretold = shiftForMove(camera, seen.move);
  const missedPx = Math.hypot(foretold.xPx - seen.shiftPx.xPx, foretold.yPx - seen.shiftPx.yPx);
  return missedPx <= 0.25 * Math.hypot(foretold.xPx, foretold.yPx) + allowedLossArcsec / camera.arcsecPerPx;
}

function percent(fraction: number): string {
  return `${(fraction * 100).toFixed(0)} %`;
}
