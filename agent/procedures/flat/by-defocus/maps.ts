import type { Master } from "../../../imaging/combining/finish-master.ts";
import { maskBits } from "../../../imaging/combining/mask-bits.ts";
import { MasterBuilder } from "../../../imaging/combining/master-builder.ts";
import type { Flat } from "../../../imaging/combining/normalise-flat.ts";
import type { SkyPlane } from "../../../imaging/defocus/sky-plane.ts";
import { fillInto, mapInto } from "../../../imaging/numerics/map-into.ts";
import type { DefocusWork } from "./defocus-work.ts";
import { type BlurredLight, worstLeftover } from "./light.ts";

/** Level that proof frames are brought to [codes]: fine enough that rounding is no noise. */
const levelCodes = 30_000;
/** The light and its uncertainty are reckoned on every so many pixels and are straight between. */
const lightStepPx = 8;
const sigmaStepPx = 32;

/** As if the Sun lit the frame evenly; what it does not light is masked, and the light's own uncertainty joins the noise. */
export function divideByLight(
  work: DefocusWork,
  series: Master,
  light: BlurredLight,
  plane: SkyPlane,
): Master {
  const { shape, disc } = work;
  const level = lightMap(work, light, plane, work.seriesShift);
  const unknown = worstLeftover(light.leftover)?.rms ?? 0;
  const sigma = interpolated(shape, sigmaStepPx, (place) =>
    Math.hypot(
      unknown,
      light.surface.besidesSigma(place),
      plane.xSigma * (place.x - disc.x),
      plane.ySigma * (place.y - disc.y),
    ),
  );
  const mask = series.mask.map((bits, i) => (level[i]! > 0 ? bits : bits | maskBits.unlit));
  const lit = (i: number) => (level[i]! > 0 ? level[i]! : 1);
  const meanAdu = series.meanAdu.map((value, i) => value / lit(i));
  const sigmaAdu = series.sigmaAdu.map((value, i) => Math.hypot(value / lit(i), meanAdu[i]! * sigma[i]!));
  return { ...series, meanAdu, sigmaAdu, mask };
}

/** Frames from places that the light's model does not know, each divided by the light as it fell there. */
export function proofWithoutSun(
  work: DefocusWork,
  light: BlurredLight,
  plane: SkyPlane,
  flat: Flat,
): Pick<Master, "meanAdu" | "sigmaAdu" | "mask" | "frameCount"> {
  const { shape, proofFrames, dark } = work;
  const builder = new MasterBuilder({
    shape,
    frameCountExpected: proofFrames.length,
    kind: "light",
    scaleTolerance: 0.2,
  });
  const maps = new Map(proofFrames.map(({ shift }) => [shift, lightMap(work, light, plane, shift)] as const));
  // What one of the places leaves unlit is left out of all frames: a frame that differs there would be refused.
  const bad = flat.mask.map((_, i) => ([...maps.values()].every((map) => map[i]! > 0) ? 0 : 1));
  for (const { frame, shift } of proofFrames) {
    const map = maps.get(shift)!;
    builder.add(
      mapInto(new Uint16Array(frame.pixelsAdu.length), frame.pixelsAdu, (raw, i) => {
        const value = (levelCodes * (raw - dark!.meanAdu[i]!)) / map[i]! / flat.levelAdu;
        return bad[i] === 1 ? levelCodes : Math.min(65_535, Math.max(0, Math.round(value)));
      }),
    );
  }
  const master = builder.finish();
  return { ...master, mask: master.mask.map((bits, i) => bits | bad[i]!) };
}

/** The light on each pixel, 1 at the disc's centre; NaN where the disc does not light it evenly. */
function lightMap(
  work: DefocusWork,
  light: BlurredLight,
  plane: SkyPlane,
  shift: { x: number; y: number },
): Float32Array {
  const { disc } = work;
  return interpolated(work.shape, lightStepPx, (place) =>
    Math.exp(
      light.at(place, shift) +
        plane.x * (place.x - shift.x - disc.x) +
        plane.y * (place.y - shift.y - disc.y),
    ),
  );
}

function interpolated(
  { widthPx, heightPx }: DefocusWork["shape"],
  stepPx: number,
  value: (place: { x: number; y: number }) => number,
): Float32Array {
  const columns = Math.ceil((widthPx - 1) / stepPx) + 1;
  const rows = Math.ceil((heightPx - 1) / stepPx) + 1;
  const knots = fillInto(new Float64Array(columns * rows), (k) =>
    value({ x: (k % columns) * stepPx, y: Math.floor(k / columns) * stepPx }),
  );
  const map = new Float32Array(widthPx * heightPx);
  for (let y = 0, i = 0; y < heightPx; y++) {
    const row = Math.min(rows - 2, Math.floor(y / stepPx));
    const v = y / stepPx - row;
    for (let x = 0; x < widthPx; x++, i++) {
      const column = Math.min(columns - 2, Math.floor(x / stepPx));
      const u = x / stepPx - column;
      const at = row * columns + column;
      map[i] =
        (1 - v) * ((1 - u) * knots[at]! + u * knots[at + 1]!) +
        v * ((1 - u) * knots[at + columns]! + u * knots[at + columns + 1]!);
    }
  }
  return map;
}
