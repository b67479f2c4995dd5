import type { Master } from "../../combining/finish-master.ts";
import { MasterBuilder } from "../../combining/master-builder.ts";
import type { Flat } from "../../combining/normalise-flat.ts";
import type { FftLibrary } from "../../numerics/fft-library.ts";
import { registerPair } from "../../registration/register-pair.ts";
import type { ShiftPx } from "../object-grid.ts";

/** Level that frames without their Sun are brought to [codes]: fine enough that rounding is no noise. */
const levelCodes = 30_000;

export interface SunDividedFrames {
  readonly master: Pick<Master, "meanAdu" | "sigmaAdu" | "mask" | "frameCount">;
  readonly shifts: readonly ShiftPx[];
}

/**
 * Frames that the flat does not know, each divided by the Sun as it stood in it: what is left is the rig's own pattern.
 * Where the Sun stood is found from the pictures, over the flat, against the Sun's picture of the frames that the flat
 * does know. Their noise enters the result's.
 * @param sunAt the Sun's picture as a frame at a shift sees it
 * @param frames levels above the dark over the frame's own level, NaN where a pixel is not to be used
 * @param near a shift that overlaps most of each frame
 * @throws TooFewFramesError where no two of them agree in light
 */
export function divideFramesBySun(
  library: FftLibrary,
  input: {
    readonly flat: Flat;
    readonly sunAt: (shift: ShiftPx, into: Float32Array) => void;
    readonly sunFrames: number;
    readonly frames: readonly { readonly near: ShiftPx; readonly read: (into: Float32Array) => void }[];
  },
): SunDividedFrames {
  const { flat, frames } = input;
  const pxCount = flat.gain.length;
  const builder = new MasterBuilder({
    shape: flat.shape,
    frameCountExpected: frames.length,
    kind: "light",
    scaleTolerance: 0.2,
  });
  const [levels, sun, over] = [0, 1, 2].map(() => new Float32Array(pxCount)) as [
    Float32Array,
    Float32Array,
    Float32Array,
  ];
  const bad = new Uint8Array(pxCount);
  const shifts: ShiftPx[] = [];
  for (const frame of frames) {
    frame.read(levels);
    for (let i = 0; i < pxCount; i++) over[i] = flat.mask[i] === 0 ? levels[i]! / flat.gain[i]! : Number.NaN;
    let shift = frame.near;
    for (let pass = 0; pass < 2; pass++) {
      input.sunAt(shift, sun);
      const { x, y } = registerPair(library, sun, over, flat.shape);
      shift = { x: shift.x + x, y: shift.y + y };
    }
    shifts.push(shift);
    input.sunAt(shift, sun);
    const codes = new Uint16Array(pxCount); // the builder keeps it
    for (let i = 0; i < pxCount; i++) {
      const value = (levelCodes * levels[i]!) / sun[i]!;
      if (!(value > 0)) bad[i] = 1;
      codes[i] = value > 0 ? Math.min(65_535, Math.round(value)) : levelCodes;
    }
    builder.add(codes);
  }
  const master = builder.finish();
  const sunNoise = Math.sqrt(1 + frames.length / input.sunFrames);
  return {
    shifts,
    master: {
      meanAdu: master.meanAdu,
      sigmaAdu: master.sigmaAdu.map((sigma) => sigma * sunNoise),
      mask: master.mask.map((bits, i) => bits | bad[i]!),
      frameCount: master.frameCount,
    },
  };
}
