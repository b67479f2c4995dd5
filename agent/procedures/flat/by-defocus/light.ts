import { blurredDisc } from "../../../imaging/defocus/blurred-disc.ts";
import { litRadiusPx } from "../../../imaging/defocus/defocus-room.ts";
import {
  type Leftover,
  type LeftoverScale,
  leftoverByScale,
} from "../../../imaging/defocus/leftover-by-scale.ts";
import type { SkyObservation } from "../../../imaging/defocus/look-levels.ts";
import { type SkyPlane, skyPlane } from "../../../imaging/defocus/sky-plane.ts";
import { type PlacePx, type SkySurface, solveSky } from "../../../imaging/defocus/sky-surface.ts";
import { limbDarkening } from "../../../imaging/disc/limb-darkening.ts";
import { StepError } from "../../step-error.ts";
import type { DefocusWork } from "./defocus-work.ts";

export interface BlurredLight {
  readonly surface: SkySurface;
  readonly leftover: readonly LeftoverScale[];
  /** What one look leans against another: see `Leftover`. */
  readonly haze: Leftover["haze"];
  /** How much larger the picture is than in focus: above 1 behind the focus, below it in front; 1 where that is not told. */
  readonly stretch: number;
  /** Logarithm of the light that a pixel gets when the Sun is shifted; NaN beyond what the disc lights evenly. */
  at(place: PlacePx, shift: PlacePx): number;
}

/** One assumption of how much the picture has grown, and the light that follows. */
interface LightOfLooks extends Pick<BlurredLight, "surface" | "stretch"> {
  /** Their shifts are those on the grown picture. */
  readonly looks: readonly SkyObservation[];
  lightOn(place: PlacePx, grownShift: PlacePx): number;
}

/** A picture that grows by less needs no telling which side of focus it was taken on. */
const growthLeast = 0.003;
/** So much smaller must the misfit be, in units of its own scatter, for one side of focus to be told from the other. */
const significantMisfit = 25;

/** The side of focus as something else has told it: 1 behind it, -1 in front of it. */
export type SideOfFocus = 1 | -1;

/**
 * The light on the frame without its gradient, from looks. Out of focus the picture is a little larger or smaller;
 * which of them is told by how well the looks fit together, unless it is known.
 * @throws StepError when they do not tell the light
 */
export function solveLight(
  work: DefocusWork,
  looks: readonly SkyObservation[],
  blurRadiusPx: number,
  side?: SideOfFocus,
): BlurredLight {
  const growth = imageScaleChange(work, blurRadiusPx);
  const at = (stretch: number) => lightAt(work, looks, blurRadiusPx, stretch);
  if (growth < growthLeast) return addLeftover(work, at(1));
  if (side !== undefined) return addLeftover(work, at(1 + side * growth));
  const [inward, outward] = [at(1 - growth), at(1 + growth)];
  const better = Math.min(inward.surface.misfit, outward.surface.misfit) / inward.surface.freedom;
  const apart = (inward.surface.misfit - outward.surface.misfit) / Math.max(1, better);
  if (Math.abs(apart) < significantMisfit) return addLeftover(work, at(1));
  return addLeftover(work, apart > 0 ? outward : inward);
}

/** How much the way to the sensor, and the picture with it, has grown or shrunk; from the cone of light's width on it. */
export function imageScaleChange({ bench, binning }: DefocusWork, blurRadiusPx: number): number {
  const pixelMm = (binning * bench.rig.camera.limits.pixelMicron) / 1000;
  return (2 * blurRadiusPx * pixelMm) / bench.optics.apertureMm;
}

function lightAt(
  work: DefocusWork,
  looks: readonly SkyObservation[],
  blurRadiusPx: number,
  stretch: number,
): LightOfLooks {
  const { shape, discRadiusPx } = work;
  const expected = expectedLight(work, discRadiusPx * stretch, blurRadiusPx);
  const axis = { x: (shape.widthPx - 1) / 2, y: (shape.heightPx - 1) / 2 };
  const disc = {
    x: axis.x + stretch * (work.disc.x - axis.x),
    y: axis.y + stretch * (work.disc.y - axis.y),
  };
  const stretched = looks.map((look) => ({ ...look, shift: scalePlace(look.shift, stretch) }));
  const surface = solveSky({ shape, looks: stretched, disc, expected });
  if (!surface)
    throw new StepError(
      "LIGHT_NOT_TOLD",
      "too little of the frame is lit evenly from every pointing to tell the Sun's light from the rig's pattern",
      "Centre the Sun again; a disc that is small in the frame is better left to a flat by `diffuser`.",
    );
  const lightOn = (place: PlacePx, shift: PlacePx) => {
    const there = { x: place.x - shift.x, y: place.y - shift.y };
    return expected(Math.hypot(there.x - disc.x, there.y - disc.y)) + surface.besides(there);
  };
  return { surface, stretch, looks: stretched, lightOn };
}

function addLeftover(
  { shape }: DefocusWork,
  { surface, stretch, looks, lightOn }: LightOfLooks,
): BlurredLight {
  const { scales, haze } = leftoverByScale(
    shape,
    looks,
    (look, middle) => lightOn(middle, look.shift) + surface.levels[looks.indexOf(look)]!,
  );
  return {
    surface,
    leftover: scales,
    haze,
    stretch,
    at: (place, shift) => lightOn(place, scalePlace(shift, stretch)),
  };
}

/** What the blurred disc is expected to light, by the law of limb darkening. */
function expectedLight(
  work: DefocusWork,
  discRadiusPx: number,
  blurRadiusPx: number,
): (distancePx: number) => number {
  const disc = blurredDisc(limbDarkening(work.bench.optics.wavelengthNm), blurRadiusPx / discRadiusPx);
  const litPx = litRadiusPx(work, blurRadiusPx);
  return (distancePx) => (distancePx <= litPx ? Math.log(disc(distancePx / discRadiusPx)) : Number.NaN);
}

function scalePlace({ x, y }: PlacePx, by: number): PlacePx {
  return { x: x * by, y: y * by };
}

/** The gradient of the light, from how the looks' levels change with their pointing. */
export function solveGradient(work: DefocusWork, light: BlurredLight): SkyPlane | undefined {
  const { rounds, shape } = work;
  let index = 0;
  const seen = rounds.map((round) =>
    round.map(({ shift, utcMs }) => ({
      shift: scalePlace(shift, light.stretch),
      utcMs,
      level: light.surface.levels[index++]!,
    })),
  );
  return skyPlane(seen, shape);
}

/** What of the leftover is beyond chance, at its worst scale. */
export function worstLeftover(leftover: readonly LeftoverScale[]): LeftoverScale | undefined {
  if (leftover.some(({ rms }) => !Number.isFinite(rms))) throw new Error("a leftover is no number");
  const real = leftover.filter(({ rms, sigma }) => rms > 3 * sigma);
  return real.reduce<LeftoverScale | undefined>(
    (worst, scale) => (worst === undefined || scale.rms > worst.rms ? scale : worst),
    undefined,
  );
}
