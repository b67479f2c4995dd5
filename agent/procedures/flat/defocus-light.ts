import { blurredDisc } from "../../imaging/defocus/blurred-disc.ts";
import { type LeftoverScale, leftoverByScale } from "../../imaging/defocus/leftover-by-scale.ts";
import type { Look } from "../../imaging/defocus/look-levels.ts";
import { type SkyPlane, skyPlane } from "../../imaging/defocus/sky-plane.ts";
import { type PlacePx, type SkySurface, solveSky } from "../../imaging/defocus/sky-surface.ts";
import { limbDarkening } from "../../imaging/disc/limb-darkening.ts";
import { StepError } from "../step-error.ts";
import { type DefocusWork, litRadiusPx } from "./defocus-work.ts";

export interface BlurredLight {
  readonly surface: SkySurface;
  readonly leftover: readonly LeftoverScale[];
  /** Logarithm of the light that a pixel gets when the Sun is shifted; NaN beyond what the disc lights evenly. */
  at(place: PlacePx, shift: PlacePx): number;
}

/** What the blurred disc is expected to light, by the law of limb darkening. */
function expectedLight(work: DefocusWork, blurRadiusPx: number): (distancePx: number) => number {
  const disc = blurredDisc(limbDarkening(work.bench.optics.wavelengthNm), blurRadiusPx / work.discRadiusPx);
  const litPx = litRadiusPx(work, blurRadiusPx);
  return (distancePx) => (distancePx <= litPx ? Math.log(disc(distancePx / work.discRadiusPx)) : Number.NaN);
}

/** The light on the frame without its gradient, from looks. @throws StepError when they do not tell it */
export function lightFrom(work: DefocusWork, looks: readonly Look[], blurRadiusPx: number): BlurredLight {
  const { shape, disc } = work;
  const expected = expectedLight(work, blurRadiusPx);
  const surface = solveSky({ shape, looks, disc, expected });
  if (!surface)
    throw new StepError(
      "LIGHT_NOT_TOLD",
      "too little of the frame is lit evenly from every pointing to tell the Sun's light from the rig's pattern",
      "Centre the Sun again; a disc that is small in the frame is better left to a flat by `diffuser`.",
    );
  const at = (place: PlacePx, shift: PlacePx) => {
    const there = { x: place.x - shift.x, y: place.y - shift.y };
    return expected(Math.hypot(there.x - disc.x, there.y - disc.y)) + surface.besides(there);
  };
  const leftover = leftoverByScale(
    shape,
    looks,
    (look, middle) => at(middle, look.shift) + surface.levels[looks.indexOf(look)]!,
  );
  return { surface, leftover, at };
}

/** The gradient of the light, from how the looks' levels change with their pointing. */
export function gradientFrom(work: DefocusWork, light: BlurredLight): SkyPlane | undefined {
  const { rounds, shape } = work;
  let index = 0;
  const seen = rounds.map((round) =>
    round.map(({ shift, utcMs }) => ({ shift, utcMs, level: light.surface.levels[index++]! })),
  );
  return skyPlane(seen, shape);
}

/** What of the leftover is beyond chance, at its worst scale. */
export function worstLeftover(leftover: readonly LeftoverScale[]): LeftoverScale | undefined {
  const real = leftover.filter(({ rms, sigma }) => rms > 3 * sigma);
  return real.reduce<LeftoverScale | undefined>(
    (worst, scale) => (worst === undefined || scale.rms > worst.rms ? scale : worst),
    undefined,
  );
}
