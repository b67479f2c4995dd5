import { given } from "../../../../drivers/kit/given.ts";
import type { Master } from "../../../imaging/combining/finish-master.ts";
import { type Flat, relativeNoise } from "../../../imaging/combining/normalise-flat.ts";
import { trustedFraction } from "../../../imaging/combining/trusted-px.ts";
import { refocusDust, refocusShadows } from "../../../imaging/defocus/refocus-shadows.ts";
import { shadowGrowth } from "../../../imaging/defocus/side-of-focus.ts";
import type { SkyPlane } from "../../../imaging/defocus/sky-plane.ts";
import type { DustFound } from "../../../imaging/dust/dust.ts";
import { figuresOf } from "../../../masters/master-cards.ts";
import { computeInThread } from "../../../threads/compute-in-thread.ts";
import { StepError } from "../../step-error.ts";
import { measureLooks } from "../light/measure-looks.ts";
import { conversionFromSeries } from "../measure-conversion.ts";
import { collectFlatFacts, proveAndWriteFlat, requireLitFlat } from "../prove-and-write.ts";
import type { DefocusWork } from "./defocus-work.ts";
import {
  type BlurredLight,
  imageScaleChange,
  type SideOfFocus,
  solveGradient,
  solveLight,
  worstLeftover,
} from "./light.ts";
import { divideByLight, proofWithoutSun } from "./maps.ts";

/** Gradients of the light that are expected where nothing is known of them, across the frame: an active region. */
const gradientUsual = 0.01;

/** The change of shadows tells the side of focus when it is so many times its uncertainty, and this much of what it should be. */
const significantSigmas = 5;
const shareLeast = 0.3;

/** Divides the blurred Sun's light out of the frames, proves the flat and writes it. */
export async function saveDefocusFlat(work: DefocusWork, signal: AbortSignal): Promise<void> {
  const { bench, notes, edges, shape, sampleFrame } = work;
  bench.progress({ what: "proving the flat", done: 0, of: 1 });
  const { blurRadiusPx, steps } = work.place!;
  const series = work.series!.finish();
  conversionFromSeries(work, series);
  const guess = divideOutLight(work, series, solveLight(work, work.rounds.flat(), blurRadiusPx));
  // Searched once: which side of focus it was changes the light's slope, and no shadow.
  const dust = await computeInThread(
    bench,
    { signal, pxCount: guess.flat.gain.length },
    "findDust",
    guess.flat,
    collectFlatFacts(bench, guess.flat, series.frameCount, notes.usualFrame.gain),
  );
  const side = sideByShadows(work, guess.flat, dust);
  const {
    light,
    measured,
    gradient,
    flat: asTaken,
  } = side === undefined
    ? guess
    : divideOutLight(work, series, solveLight(work, work.rounds.flat(), blurRadiusPx, side));
  const flat = refocusShadows(asTaken, dust, light.stretch);
  const noise = relativeNoise(flat) ?? 0;
  const worst = worstLeftover(light.leftover);
  const defocus = {
    focusSteps: work.focus!.steps,
    flatSteps: steps,
    blurRadiusPx,
    stretch: light.stretch,
    litFraction: trustedFraction(flat),
    leftover: light.leftover,
    noise,
    gradientAcross: {
      x: measured.x * shape.widthPx,
      y: measured.y * shape.heightPx,
      sigma: measured.acrossSigma,
    },
  };
  bench.note("light of the blurred Sun", {
    ...defocus,
    halvesApart: measured.halvesApart,
    haze: light.haze,
  });
  const looks = work.looks ?? { notMeasured: "nobody looked" };
  const made = {
    flat,
    series: figuresOf(series),
    edges,
    independent: proofWithoutSun(work, light, gradient, asTaken),
    blurred: {
      leftover: worst ? worst.rms / noise : 0,
      leftoverSigma: (worst?.sigma ?? Math.max(...light.leftover.map(({ sigma }) => sigma))) / noise,
      // Haze leans the series as it leans the looks, and no pointing tells that from the rig.
      gradientUnsure: Math.hypot(
        gradient.acrossSigma,
        measured.halvesApart,
        light.haze.acrossX,
        light.haze.acrossY,
      ),
      focusKept: work.sharpnessAfter!.rms / work.focus!.sharpness.rms,
    },
    sunAdu: work.focus!.picture,
    dust: refocusDust(dust, light.stretch),
    judged: await measureLooks(
      bench,
      flat,
      looks,
      { asksClearShare: false, response: work.response },
      signal,
    ),
    ...given({ response: work.response }),
    sampleFrame,
  };
  work.result = { ...(await proveAndWriteFlat(work, made, signal)), defocus };
}

/** The flat as it was taken: the light divided out, its gradient too. @throws StepError when the light can't be told */
function divideOutLight(work: DefocusWork, series: Master, light: BlurredLight) {
  const measured = solveGradient(work, light);
  if (!measured)
    throw new StepError(
      "LIGHT_NOT_TOLD",
      "the looks from round about do not tell the gradient of the light",
      "Look whether the mount follows small moves, then run the plan again.",
    );
  const gradient = shrinkToUsual(widenByLeftover(measured, light, work), work);
  const flat = requireLitFlat(divideByLight(work, series, light, gradient));
  return { light, measured, gradient, flat };
}

/** Which side of focus the flat was taken on, if dust shadows tell it: they shrink as the sensor moves away from the aperture. */
function sideByShadows(work: DefocusWork, flat: Flat, dust: readonly DustFound[]): SideOfFocus | undefined {
  const { otherPlace, place, homeSteps, bench } = work;
  const [flatSteps, otherSteps] = [place!.steps, otherPlace!.steps].map((at) =>
    Math.abs(at - homeSteps!),
  ) as [number, number];
  const growthPerStep = imageScaleChange(work, place!.blurRadiusPx) / flatSteps;
  const [nearer, farther] = [Math.min(flatSteps, otherSteps), Math.max(flatSteps, otherSteps)];
  const ratio = (1 + growthPerStep * farther) / (1 + growthPerStep * nearer);
  const seen = shadowGrowth(flat, otherPlace!.picture, otherPlace!.litPx, dust, ratio);
  bench.note("side of focus by shadows", { share: seen?.share, sigma: seen?.sigma });
  if (!seen || Math.abs(seen.share) < significantSigmas * seen.sigma || Math.abs(seen.share) < shareLeast)
    return undefined;
  return (otherSteps > flatSteps ? seen.share : -seen.share) > 0 ? 1 : -1;
}

/** Structure that the model of the light does not have may lean the gradient as much as it is. */
function widenByLeftover(plane: SkyPlane, { leftover }: BlurredLight, { shape }: DefocusWork): SkyPlane {
  const lean = 2 * (worstLeftover(leftover)?.rms ?? 0);
  return {
    ...plane,
    xSigma: Math.hypot(plane.xSigma, lean / Math.SQRT2 / shape.widthPx),
    ySigma: Math.hypot(plane.ySigma, lean / Math.SQRT2 / shape.heightPx),
  };
}

/** The measured gradient, drawn towards none as far as it is unsure. */
function shrinkToUsual(plane: SkyPlane, { shape }: DefocusWork): SkyPlane {
  const one = (value: number, sigma: number, lengthPx: number) => {
    const usual = gradientUsual / lengthPx;
    const share = usual ** 2 / (usual ** 2 + sigma ** 2);
    return { value: share * value, sigma: Math.sqrt(share) * sigma };
  };
  const [x, y] = [one(plane.x, plane.xSigma, shape.widthPx), one(plane.y, plane.ySigma, shape.heightPx)];
  return {
    ...plane,
    x: x.value,
    y: y.value,
    xSigma: x.sigma,
    ySigma: y.sigma,
    acrossSigma: Math.hypot(x.sigma * shape.widthPx, y.sigma * shape.heightPx),
  };
}
