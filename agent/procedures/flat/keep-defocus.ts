import { maskBits } from "../../imaging/combining/mask-bits.ts";
import { type Master, MasterBuilder } from "../../imaging/combining/master-builder.ts";
import { type Flat, normaliseFlat, relativeNoise } from "../../imaging/combining/normalise-flat.ts";
import { refocusShadows } from "../../imaging/defocus/refocus-shadows.ts";
import type { SkyPlane } from "../../imaging/defocus/sky-plane.ts";
import { findDust } from "../../imaging/dust/dust.ts";
import { loadFft } from "../../imaging/numerics/fft.ts";
import { median } from "../../imaging/numerics/order-statistics.ts";
import { proveFlat } from "../../imaging/proof/proof.ts";
import { StepError } from "../step-error.ts";
import { type BlurredLight, gradientFrom, lightFrom, worstLeftover } from "./defocus-light.ts";
import { type DefocusWork, litFraction } from "./defocus-work.ts";
import { knownOfFlat } from "./known-of-flat.ts";
import { writeAndTell } from "./tell-flat.ts";

/** Gradients of the light that are expected where nothing is known of them, across the frame: an active region. */
const gradientUsual = 0.01;
/** Level that proof frames are brought to [codes]: fine enough that rounding is no noise. */
const levelCodes = 30_000;
/** The light is reckoned on every so many pixels and is straight between. */
const lightStepPx = 8;

/** Divides the blurred Sun's light out of the frames, proves the flat and writes it. */
export async function keepDefocus(work: DefocusWork): Promise<void> {
  const { bench, ask, notes, edges, shape } = work;
  bench.progress({ what: "proving the flat", done: 0, of: 1 });
  const { blurRadiusPx, steps } = work.place!;
  const light = lightFrom(work, work.rounds.flat(), blurRadiusPx);
  const measured = gradientFrom(work, light);
  if (!measured)
    throw new StepError(
      "LIGHT_NOT_TOLD",
      "the looks from round about do not tell the gradient of the light",
      "Look whether the mount follows small moves, then run the plan again.",
    );
  const gradient = weighed(leaning(measured, light, work), work);
  const series = work.series!.finish();
  const lit = evenlyLit(work, series, light, gradient);
  const asTaken = normaliseFlat(lit);
  if (!asTaken)
    throw new StepError(
      "NOTHING_LIT",
      "no pixel of the flat's frames is lit",
      "Look at the frame in the run's folder.",
    );
  const independent = proofWithoutSun(work, light, gradient, asTaken);
  const flat = refocusShadows(asTaken, findDust(asTaken), light.stretch);
  const noise = relativeNoise(flat) ?? 0;
  const worst = worstLeftover(light.leftover);
  const acrossUnsure = Math.hypot(gradient.acrossSigma, measured.halvesApart);
  const upperEdge = { median: median(edges)!, least: Math.min(...edges), most: Math.max(...edges) };
  const litShare = flat.mask.reduce((sum, bits) => sum + (bits === 0 ? 1 : 0), 0) / flat.mask.length;
  const fft = await bench.clock.hold(loadFft());
  const proof = proveFlat({
    flat,
    series,
    upperEdge,
    independent,
    blurred: {
      leftover: worst ? worst.rms / noise : 0,
      leftoverSigma: (worst?.sigma ?? Math.max(...light.leftover.map(({ sigma }) => sigma))) / noise,
      gradientUnsure: acrossUnsure,
      litFraction: litFraction(work, blurRadiusPx),
      focusKept: work.sharpnessAfter!.rms / work.focus!.sharpness.rms,
    },
    known: {
      ...knownOfFlat(bench, flat, series.frameCount, notes.facts.first.gain),
      fft,
      sunAdu: work.focus!.picture,
    },
  });
  const told = {
    focusSteps: work.focus!.steps,
    flatSteps: steps,
    blurRadiusPx,
    stretch: light.stretch,
    litFraction: litShare,
    leftover: light.leftover,
    noise,
    gradientAcross: {
      x: measured.x * shape.widthPx,
      y: measured.y * shape.heightPx,
      sigma: measured.acrossSigma,
    },
  };
  bench.note("light of the blurred Sun", { ...told, halvesApart: measured.halvesApart });
  const found = writeAndTell({
    bench,
    ask,
    flat,
    proof,
    facts: notes.facts,
    tuned: work.tuned!,
    darkFile: work.dark!.file,
    sampleFrame: work.sampleFrame,
    frameCount: series.frameCount,
    refusedFrames: series.refusedFrames,
    rejectedFraction: series.rejectedFraction,
    upperEdge,
  });
  work.found = { ...found, defocus: told };
}

/** Structure that the model of the light does not have may lean the gradient as much as it is. */
function leaning(plane: SkyPlane, { leftover }: BlurredLight, { shape }: DefocusWork): SkyPlane {
  const lean = 2 * (worstLeftover(leftover)?.rms ?? 0);
  return {
    ...plane,
    xSigma: Math.hypot(plane.xSigma, lean / Math.SQRT2 / shape.widthPx),
    ySigma: Math.hypot(plane.ySigma, lean / Math.SQRT2 / shape.heightPx),
  };
}

/** The measured gradient, drawn towards none as far as it is unsure. */
function weighed(plane: SkyPlane, { shape }: DefocusWork): SkyPlane {
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

/** As if the Sun lit the frame evenly; what it does not light is masked, and the light's own uncertainty joins the noise. */
function evenlyLit(work: DefocusWork, series: Master, light: BlurredLight, plane: SkyPlane): Master {
  const { shape, disc } = work;
  const level = lightMap(work, light, plane, work.seriesShift);
  const unknown = worstLeftover(light.leftover)?.rms ?? 0;
  const sigma = interpolated(shape, (place) =>
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
function proofWithoutSun(
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
      Uint16Array.from(frame.pixelsAdu, (raw, i) => {
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
  return interpolated(work.shape, (place) =>
    Math.exp(
      light.at(place, shift) +
        plane.x * (place.x - shift.x - disc.x) +
        plane.y * (place.y - shift.y - disc.y),
    ),
  );
}

function interpolated(
  { widthPx, heightPx }: DefocusWork["shape"],
  value: (place: { x: number; y: number }) => number,
): Float32Array {
  const columns = Math.ceil((widthPx - 1) / lightStepPx) + 1;
  const rows = Math.ceil((heightPx - 1) / lightStepPx) + 1;
  const knots = Float64Array.from({ length: columns * rows }, (_, k) =>
    value({ x: (k % columns) * lightStepPx, y: Math.floor(k / columns) * lightStepPx }),
  );
  return Float32Array.from({ length: widthPx * heightPx }, (_, i) => {
    const [x, y] = [(i % widthPx) / lightStepPx, Math.floor(i / widthPx) / lightStepPx];
    const [column, row] = [Math.min(columns - 2, Math.floor(x)), Math.min(rows - 2, Math.floor(y))];
    const [u, v] = [x - column, y - row];
    const at = row * columns + column;
    return (
      (1 - v) * ((1 - u) * knots[at]! + u * knots[at + 1]!) +
      v * ((1 - u) * knots[at + columns]! + u * knots[at + columns + 1]!)
    );
  });
}
