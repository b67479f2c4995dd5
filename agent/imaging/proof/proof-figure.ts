import { trustedLeast } from "../combining/trusted-px.ts";

export type Verdict = "good" | "usable" | "bad";

/** One number that a flat is judged by. */
export interface ProofFigure {
  readonly id: string;
  readonly name: string;
  readonly value: number;
  /** One sigma, where it is known. */
  readonly sigma?: number;
  /** `share` of the level (0.01 is 1 %), or a plain `ratio`. */
  readonly unit: "share" | "ratio";
  /** Both ends included. */
  readonly good: readonly [least: number, most: number];
  readonly usable: readonly [least: number, most: number];
  readonly verdict: Verdict;
  /** One sentence; for a good figure it says that nothing is to be done. */
  readonly whatToDo: string;
}

interface Rule {
  readonly name: string;
  readonly unit: ProofFigure["unit"];
  readonly good: readonly [number, number];
  readonly usable: readonly [number, number];
  readonly whatToDo: string;
}

const any = Number.POSITIVE_INFINITY;
const upTo = (good: number, usable: number) => ({ good: [0, good], usable: [0, usable] }) as const;

/**
 * What is good and what can be used; the only place where a flat's figures have their limits. A processed image of the Sun
 * is stretched about five times, and a step of 1 % is just visible afterwards: 0.2 % must not be exceeded, 0.5 % shows. Own
 * reasoning, no source; the rules that do not follow from it say so.
 */
export const rules = {
  upperEdge: {
    name: "upper edge over full scale",
    unit: "ratio",
    good: [0.75, 0.9],
    usable: [0.5, 0.95],
    whatToDo: "Tune the exposure again; below the range lengthen it, above it shorten it.",
  },
  clipped: {
    name: "clipped healthy pixels",
    unit: "share",
    ...upTo(1e-5, 1e-3),
    whatToDo: "Shorten the exposure; clipped pixels are masked and can't be divided.",
  },
  noise: {
    name: "noise of the master",
    unit: "share",
    ...upTo(0.002, 0.005),
    whatToDo: "Take more frames: four times as many halve the noise.",
  },
  evenOdd: {
    name: "even against odd frames, over expectation",
    unit: "ratio",
    ...upTo(1.2, 2),
    whatToDo: "Something changes from frame to frame: look for flicker, stray lamps, or a loose diffuser.",
  },
  drift: {
    name: "first against second half, 32 px blocks",
    unit: "share",
    ...upTo(0.001, 0.003),
    whatToDo:
      "The light wandered over the field: let the diffuser settle, wait for cloud to pass, take a shorter series.",
  },
  // Of a single place ten times as much is usable as shows: the rest of the frame is as good as ever.
  moved: {
    name: "first against second half at the worst place, 8 px squares",
    unit: "share",
    ...upTo(0.002, 0.02),
    whatToDo: "Something moved in the rig while the frames were taken: take the flat again.",
  },
  grey: {
    name: "unevenness of an independent flat, 16 px blocks",
    unit: "share",
    ...upTo(0.002, 0.005),
    whatToDo: "The rig changed while the flat was taken: look for what moved, then take it again.",
  },
  pairLight: {
    name: "light that differs from one flat to the other, 16 px blocks",
    unit: "share",
    ...upTo(0.002, 0.005),
    whatToDo:
      "Light wandered over the field from one to the other: leave out the frames that a cloud's edge crossed, or let the diffuser settle.",
  },
  pairChange: {
    name: "change from one flat to the other, at its worst place",
    unit: "share",
    ...upTo(0.002, 0.005),
    whatToDo:
      "Dust moved, came or went, or something of the Sun is in one of them: do not combine them, find out what moved.",
  },
  leftoverSun: {
    name: "structure of the Sun left in the flat, at its worst place",
    unit: "share",
    ...upTo(0.002, 0.005),
    whatToDo: "The blur is too weak: use a denser diffuser, or none of its edge in the light.",
  },
  // Own reasoning, no source: a whole disc in the frame and a cross about it show two fifths of the field.
  lightSeen: {
    name: "share of the field whose light was held against the Sun",
    unit: "share",
    good: [0.2, any],
    usable: [0, any],
    whatToDo:
      "The light was proved on a small part of the field only: keep the Sun there when you take images, or let it wander farther.",
  },
  lightError: {
    name: "unevenness of the light against the Sun, worst block",
    unit: "share",
    ...upTo(0.002, 0.005),
    whatToDo:
      "The light was not even, and the flat holds its pattern: use a heavier sheet or two layers flat before the whole aperture, look for a reflection, or take the flat by drift.",
  },
  lightUnsure: {
    name: "how well the light is known, one sigma of a block",
    unit: "share",
    ...upTo(0.0015, 0.005),
    whatToDo: "Haze changed from look to look: take the flat in a steadier hour.",
  },
  clearShare: {
    name: "picture of the Sun that the diffuser lets through clear, at its worst place",
    unit: "share",
    ...upTo(0.002, 0.005),
    whatToDo:
      "Use a heavier sheet, two layers where its maker allows that, or a longer focal length so that the disc fills the frame.",
  },
  // A flat can't take it out of images, so what is found is told; with the Sun itself none can be found.
  reflection: {
    name: "reflections, rms over the field",
    unit: "share",
    ...upTo(0.0002, 0.01),
    whatToDo: "Look for a shiny surface, put dark cloth or a baffle before it, or tilt the camera.",
  },
  // Half of what must not be exceeded: fainter parts of an image have more of it.
  response: {
    name: "what the sensor's curve leaves in an image at 40 % of full scale, at its worst place",
    unit: "share",
    ...upTo(0.001, 0.005),
    whatToDo:
      "The sensor's response is bent, so a flat is right only for images of its own level: take the flat at the level of the images (`levelFraction`), or expose the images as high as the flat.",
  },
  // The limits of the next one: what is not known may be wrong by as much.
  planeUnsure: {
    name: "gradient of the solved flat, how well it is known",
    unit: "share",
    ...upTo(0.005, 0.015),
    whatToDo:
      "Active regions fill the field and the sky is unsteady: drift farther, on a quieter part, or with more frames.",
  },
  plane: {
    name: "gradient, quiet Sun against levels of the frames",
    unit: "share",
    ...upTo(0.005, 0.015),
    whatToDo:
      "The sky's transparency changed, or most of the field was active: drift on a quieter part or on a steadier day.",
  },
  unseparated: {
    name: "structure of the Sun that displaced frames don't tell from the rig, rms",
    unit: "share",
    ...upTo(0.002, 0.005),
    whatToDo:
      "The Sun has to lie at more different places: let it wander farther from the middle, up and down as well as to left and right.",
  },
  // Own reasoning, no source: adds to the noise of the flat by the root of the sum of squares, 5 % at 0.3.
  sunChange: {
    name: "change of the Sun during the series, over the noise of a frame",
    unit: "ratio",
    good: [0, 0.3],
    usable: [0, 2],
    whatToDo:
      "The Sun's structure changed while the frames were taken: take the series in less time, or on a quieter part of the disc.",
  },
  blurLeftover: {
    name: "structure of the blurred Sun over the noise of the master",
    unit: "ratio",
    good: [0, 1],
    usable: [0, 2.5],
    whatToDo:
      "Active regions outlast the blur: choose a quieter part of the disc, or take the flat by diffuser or drift.",
  },
  lightGradient: {
    name: "gradient of the light, how well it is known",
    unit: "share",
    ...upTo(0.003, 0.01),
    whatToDo: "The sky's transparency changed while looking round about: take the flat on a steadier day.",
  },
  trusted: {
    name: "share of the frame that can be divided",
    unit: "share",
    good: [0.99, any],
    usable: [trustedLeast, any],
    whatToDo: "What is masked can't be divided.",
  },
  focusKept: {
    name: "sharpness after the flat over that before it",
    unit: "ratio",
    good: [0.9, any],
    usable: [0.75, any],
    whatToDo:
      "The air became unsteady or focus was not quite found again: look at the focus before taking images.",
  },
  leak: {
    name: "stray light over the flat's level",
    unit: "share",
    ...upTo(0.001, 0.005),
    whatToDo: "Find the leak and close it before the next flat.",
  },
  // As a leak: what a flat's level is not known for is counted against the most that 16 bits hold.
  darkUneven: {
    name: "unevenness of the dark, side to side, over full scale of 16 bits",
    unit: "share",
    ...upTo(0.001, 0.005),
    whatToDo:
      "Light falls on the covered sensor, or its electronics glow: close the leak, or look whether the glow comes at every exposure alike.",
  },
  fringes: {
    name: "interference fringes, half of peak to peak",
    unit: "share",
    ...upTo(0.002, 0.005),
    whatToDo:
      "A flat can't remove fringes, they move with temperature and wavelength: two surfaces are too parallel. Tilt the camera by 2 to 5 degrees and take the flat again.",
  },
  // Common practice, no source. A flat divides a slope of the rig out; one of this size is seldom the rig's own.
  gradient: {
    name: "gradient beyond what vignetting explains, peak to peak",
    unit: "share",
    ...upTo(0.1, 0.3),
    whatToDo:
      "The light falls unevenly: look for a tilted diffuser, a shifted filter, or a Sun off the middle.",
  },
  // Common practice, no source. Uneven transmission makes bumps of a few percent that divide out; a reflection does not.
  hotSpot: {
    name: "bright bump above the smooth surface",
    unit: "share",
    ...upTo(0.05, 0.15),
    whatToDo:
      "A reflection adds light where a flat takes it for gain, and moves with pointing: look for a shiny rim or a bare surface.",
  },
  // Common practice, no source: noise grows by the root of what is missing, 12 % at a fifth.
  dust: {
    name: "deepest dust shadow",
    unit: "share",
    ...upTo(0.2, 0.5),
    whatToDo:
      "Clean the surface that the shadow's distance tells: a deep shadow multiplies the noise within it.",
  },
  // Common practice, no source. A flat solved from displaced frames reaches 1.3.
  photonLimit: {
    name: "noise over what photons allow",
    unit: "ratio",
    good: [0, 1.4],
    usable: [0, 2.5],
    whatToDo:
      "Something adds noise: look for banding, a gain that is not what the header says, or too short an exposure.",
  },
  // Common practice, no source.
  tonalStep: {
    name: "tonal step over the noise of a pixel",
    unit: "ratio",
    good: [0, 1],
    usable: [0, 2],
    whatToDo: "Steps are coarser than the noise: let the camera send all bits that its converter has.",
  },
  // Common practice, no source.
  missingCodes: {
    name: "codes that are left out between occupied ones",
    unit: "share",
    ...upTo(0.01, 0.1),
    whatToDo: "The values were stretched on the way: switch off gamma, contrast and digital gain.",
  },
  // Noise of a dark must not be cut off at zero: EMVA 1288 sets the offset so that hardly a pixel lies there.
  black: {
    name: "pixels at code 0",
    unit: "share",
    ...upTo(1e-4, 1e-3),
    whatToDo: "Raise the camera's offset.",
  },
  corner: {
    name: "corners over centre",
    unit: "ratio",
    good: [0.5, any],
    usable: [0.25, any],
    whatToDo: "Strong vignetting multiplies the noise of the corners: look for a stop that is too small.",
  },
} as const satisfies Record<string, Rule>;

export function judgeFigure(id: keyof typeof rules, value: number, sigma?: number): ProofFigure {
  const { name, unit, good, usable, whatToDo } = rules[id];
  const within = ([least, most]: readonly [number, number]) => value >= least && value <= most;
  const verdict = within(good) ? "good" : within(usable) ? "usable" : "bad";
  return {
    id,
    name,
    value,
    ...(sigma === undefined ? {} : { sigma }),
    unit,
    good,
    usable,
    verdict,
    whatToDo: verdict === "good" ? "Nothing to be done." : whatToDo,
  };
}

export function worstVerdict(figures: readonly Pick<ProofFigure, "verdict">[]): Verdict {
  if (figures.some(({ verdict }) => verdict === "bad")) return "bad";
  return figures.some(({ verdict }) => verdict === "usable") ? "usable" : "good";
}

/** A verdict with the part of the frame that it speaks for. @param figures `trusted` among them, else that is left out */
export function describeVerdict(
  verdict: Verdict,
  figures: readonly Pick<ProofFigure, "id" | "value">[],
): string {
  const trusted = figures.find(({ id }) => id === "trusted")?.value;
  if (trusted === undefined) return verdict;
  return trusted === 1
    ? `${verdict}, for all of the frame`
    : `${verdict}, for ${partText(trusted)} of the frame`;
}

/** Never rounded up to all or down to nothing. */
export function partText(fraction: number): string {
  const percent = 100 * fraction;
  if (percent > 0 && percent < 0.01) return "less than 0.01 %";
  const digits = percent > 0 && percent < 0.95 ? 2 : percent > 99.05 && percent < 100 ? 3 : 1;
  return `${Math.floor(percent * 10 ** digits) / 10 ** digits} %`;
}

/** What keeps figures from being good, each with what to do. */
export function listReasons(figures: readonly ProofFigure[]): string[] {
  return figures
    .filter((figure) => figure.verdict !== "good")
    .map((figure) => `${figureText(figure)}: ${figure.whatToDo}`);
}

/** `clipped healthy pixels 0.2 % (good up to 0.001 %, usable up to 0.1 %)` */
export function figureText({ name, value, unit, good, usable }: ProofFigure): string {
  return `${name} ${valueText(value, unit)} (good ${rangeText(good, unit)}, usable ${rangeText(usable, unit)})`;
}

/** `from 99 %`, `up to 0.2 %`, `0.75 to 0.9` */
export function rangeText([least, most]: ProofFigure["good"], unit: ProofFigure["unit"]): string {
  if (most === any) return `from ${valueText(least, unit)}`;
  return least === 0
    ? `up to ${valueText(most, unit)}`
    : `${valueText(least, unit)} to ${valueText(most, unit)}`;
}

function valueText(value: number, unit: ProofFigure["unit"]): string {
  return unit === "share" ? `${Number((100 * value).toPrecision(3))} %` : `${Number(value.toPrecision(3))}`;
}
