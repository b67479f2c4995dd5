import { Random } from "../../../drivers/kit/random.ts";
import { type Complex, complexPicture, transform } from "./fourier.ts";
import { discBrightness } from "./limb.ts";
import { rigGain } from "./rig-gain.ts";
import { type SunSpec, sunSurface, texture, usualSun } from "./sun-texture.ts";

export interface ScenePlan {
  readonly seed: number;
  /** Where the Sun is meant to lie in each frame [px]. */
  readonly pattern: readonly { readonly x: number; readonly y: number }[];
  readonly sun?: SunSpec;
  /** Instead of a painted surface: [1024, 1024], mean about 1. */
  readonly surface?: Float64Array;
  readonly disc?: { readonly radiusPx: number; readonly fromMiddleX: number; readonly fromMiddleY: number };
  readonly seeingPx?: readonly [number, number];
  /** White scatter of the transparency. */
  readonly whiteScatter?: number;
  /** Scatter of a gradient over the frame, anew in each. */
  readonly hazeGradient?: number;
  /** Rms by which the texture has changed at the end. */
  readonly evolvingRms?: number;
  /** Every so often the level jumps by that much for a while. */
  readonly jump?: number;
  /** Share of frames that a cloud's edge or a shaken mount spoils. */
  readonly spoiledShare?: number;
}

export interface DisplacedScene {
  readonly side: number;
  readonly gain: Float64Array;
  /** Counts of 3 electrons. */
  readonly frames: readonly Uint16Array[];
  readonly shifts: readonly { readonly x: number; readonly y: number }[];
  readonly spoiled: readonly number[];
  /** Disc centre in a frame that is not shifted. */
  readonly disc: { readonly x: number; readonly y: number; readonly radiusPx: number };
  /** Variance of the logarithm that photon noise alone leaves in a mean of the frames that see the disc there. */
  readonly photonVariance: Float64Array;
}

export const side = 512;
const canvas = 1024;
const [wellElectrons, readElectrons, electronsPerAdu] = [12_000, 3, 3];

/** Frames of a drifting Sun through a rig's pattern, as section "displaced images" of the accuracy notes has them. */
export function paintScene(plan: ScenePlan): DisplacedScene {
  const random = new Random(plan.seed);
  const { gain, surface, spectrum } = rigAndSun(plan);
  const evolved = plan.evolvingRms
    ? spectrumOf(
        surface.map(
          (
            (change) => (value: number, i: number) =>
              value * Math.exp(change[i]!)
          )(texture(random.fork("evolving"), canvas, 5, 40, plan.evolvingRms)),
        ),
      )
    : spectrum;
  const { radiusPx, fromMiddleX, fromMiddleY } = plan.disc ?? {
    radiusPx: 2000,
    fromMiddleX: 30,
    fromMiddleY: -20,
  };
  const disc = { radiusPx, x: (side - 1) / 2 + fromMiddleX, y: (side - 1) / 2 + fromMiddleY };
  const drawn = random.fork("frames");
  const n = plan.pattern.length;
  const shifts = plan.pattern.map(({ x, y }) => ({ x: x + 1.5 * drawn.gauss(), y: y + 1.5 * drawn.gauss() }));
  const [blurLeast, blurMost] = plan.seeingPx ?? [0.4, 1.3];
  const slowPhase = drawn.between(0, 6);
  const spoiled = spoiledFrames(drawn, n, plan.spoiledShare ?? 0);
  const conditions = shifts.map((shift, k) => {
    const age = n > 1 ? k / (n - 1) : 0;
    const jumped = plan.jump && Math.floor(k / 7) % 2 === 1 ? 1 - plan.jump : 1;
    const slow = 1 + 0.015 * Math.sin(2 * Math.PI * 1.3 * age + slowPhase);
    const haze = plan.hazeGradient ?? 0;
    return {
      shift,
      age,
      blurPx: drawn.between(blurLeast, blurMost),
      level: jumped * slow * (1 + (plan.whiteScatter ?? 0.002) * drawn.gauss()),
      gradient: { x: (haze * drawn.gauss()) / side, y: (haze * drawn.gauss()) / side },
      trouble: spoiled.includes(k) ? drawn.pick(["cloud", "shaken"] as const) : undefined,
    };
  });
  const noise = random.fork("noise");
  const frames: Uint16Array[] = [];
  const photonVariance = new Float64Array(side * side);
  const seen = new Float64Array(side * side);
  let fullElectrons = 0;
  for (let k = 0; k < n; k += 2) {
    // Two real pictures in one complex transform.
    const pair = [conditions[k]!, conditions[k + 1] ?? conditions[k]!] as const;
    const both = shiftedPair(spectrum, evolved, pair);
    for (const [which, picture] of [both.re, both.im].entries()) {
      if (k + which >= n) break;
      const light = lightOf(picture, gain, disc, pair[which]!);
      if (fullElectrons === 0) fullElectrons = (0.85 * wellElectrons) / upperEdge(light);
      frames.push(expose(light, fullElectrons, noise));
      const { shift } = pair[which]!;
      for (let row = 0, i = 0; row < side; row++) {
        const y = row - disc.y - shift.y;
        for (let column = 0; column < side; column++, i++) {
          const x = column - disc.x - shift.x;
          if (x * x + y * y > (0.93 * disc.radiusPx) ** 2) continue;
          photonVariance[i]! += 1 / (light[i]! * fullElectrons);
          seen[i]!++;
        }
      }
    }
  }
  for (let i = 0; i < seen.length; i++) photonVariance[i]! /= seen[i]! ** 2;
  return { side, gain, frames, shifts, spoiled, disc, photonVariance };
}

interface RigAndSun {
  readonly gain: Float64Array;
  readonly surface: Float64Array;
  readonly spectrum: Complex;
}

/** The last usual one: tables hold scenes that differ in the Sun's places only. */
let kept: (RigAndSun & { readonly seed: number }) | undefined;

function rigAndSun({ seed, surface, sun }: ScenePlan): RigAndSun {
  const isUsual = surface === undefined && sun === undefined;
  if (isUsual && kept?.seed === seed) return kept;
  const random = new Random(seed);
  const gain = rigGain(random.fork("gain"), side);
  const painted = surface ?? sunSurface(random.fork("sun"), canvas, side + 200, sun ?? usualSun);
  const made = { gain, surface: painted, spectrum: spectrumOf(painted) };
  if (isUsual) kept = { seed, ...made };
  return made;
}

interface Conditions {
  readonly shift: { readonly x: number; readonly y: number };
  readonly age: number;
  readonly blurPx: number;
  readonly level: number;
  readonly gradient: { readonly x: number; readonly y: number };
  readonly trouble: "cloud" | "shaken" | undefined;
}

function spoiledFrames(random: Random, n: number, share: number): number[] {
  const spoiled: number[] = [];
  while (spoiled.length < Math.ceil(share * n)) {
    const k = random.whole(0, n - 1);
    if (!spoiled.includes(k)) spoiled.push(k);
  }
  return spoiled;
}

function spectrumOf(surface: Float64Array): Complex {
  const picture = complexPicture(canvas);
  picture.re.set(surface);
  transform(picture, canvas, "forward");
  return picture;
}

/** First picture in the real part, second in the imaginary one. */
function shiftedPair(spectrum: Complex, evolved: Complex, pair: readonly [Conditions, Conditions]): Complex {
  const sum = complexPicture(canvas);
  for (const [which, conditions] of pair.entries()) {
    const { shift, blurPx, age, trouble } = conditions;
    const along = phasesOf(shift.x, blurPx);
    const down = phasesOf(shift.y, blurPx);
    for (let v = 0; v < canvas; v++) {
      for (let u = 0; u < canvas; u++) {
        const i = v * canvas + u;
        const c = along.re[u]! * down.re[v]! - along.im[u]! * down.im[v]!;
        const s = along.re[u]! * down.im[v]! + along.im[u]! * down.re[v]!;
        const a = (1 - age) * spectrum.re[i]! + age * evolved.re[i]!;
        const b = (1 - age) * spectrum.im[i]! + age * evolved.im[i]!;
        // Seen twice, 18 px apart.
        const twice =
          trouble === "shaken" ? Math.cos(18 * Math.PI * (0.8 * frequency(u) + 0.6 * frequency(v))) : 1;
        const re = (a * c - b * s) * twice;
        const im = (a * s + b * c) * twice;
        sum.re[i]! += which === 0 ? re : -im;
        sum.im[i]! += which === 0 ? im : re;
      }
    }
  }
  transform(sum, canvas, "backward");
  return sum;
}

/** Waves per pixel. */
function frequency(k: number): number {
  return (k > canvas / 2 ? k - canvas : k) / canvas;
}

/** Along one axis: the shift's turn, dimmed by seeing and 1 px of the optics. */
function phasesOf(shiftPx: number, blurPx: number): { re: Float64Array; im: Float64Array } {
  const re = new Float64Array(canvas);
  const im = new Float64Array(canvas);
  for (let k = 0; k < canvas; k++) {
    const f = frequency(k);
    const blur = Math.exp(-2 * Math.PI ** 2 * (blurPx ** 2 + 1) * f * f);
    re[k] = blur * Math.cos(2 * Math.PI * f * shiftPx);
    im[k] = -blur * Math.sin(2 * Math.PI * f * shiftPx);
  }
  return { re, im };
}

function lightOf(
  picture: Float64Array,
  gain: Float64Array,
  disc: DisplacedScene["disc"],
  { shift, level, gradient, trouble }: Conditions,
): Float64Array {
  const light = new Float64Array(side * side);
  const corner = (canvas - side) / 2;
  for (let y = 0; y < side; y++) {
    for (let x = 0; x < side; x++) {
      const i = y * side + x;
      const distance = Math.sqrt((x - disc.x - shift.x) ** 2 + (y - disc.y - shift.y) ** 2);
      let value = level * gain[i]! * picture[(y + corner) * canvas + x + corner]!;
      value *= discBrightness(distance, disc.radiusPx);
      value *= 1 + gradient.x * (x - side / 2) + gradient.y * (y - side / 2);
      if (trouble === "cloud") value *= 1 - 0.3 / (1 + Math.exp((x + 0.5 * y - 0.7 * side) / 40));
      light[i] = Math.max(value, 1e-4);
    }
  }
  return light;
}

function upperEdge(light: Float64Array): number {
  return light.toSorted()[Math.floor(0.999 * light.length)]!;
}

function expose(light: Float64Array, electronsAtOne: number, noise: Random): Uint16Array {
  const frame = new Uint16Array(light.length);
  for (let i = 0; i < light.length; i++) {
    const electrons = light[i]! * electronsAtOne;
    const counted = electrons + Math.sqrt(electrons + readElectrons ** 2) * noise.gauss();
    frame[i] = Math.max(0, Math.min(wellElectrons / electronsPerAdu, Math.round(counted / electronsPerAdu)));
  }
  return frame;
}
