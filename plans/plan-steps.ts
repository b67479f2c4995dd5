import * as z from "zod";
import { mapOf, numberFrom, oneOf, parsePart, textLine, wholeFrom } from "./fields.ts";
import { nearestWord } from "./nearest.ts";

/** What happens to the rest of the plan when a step fails. */
const onFailure = oneOf(["stop", "continue"]).default("stop");
const levelFraction = numberFrom(0.3, 0.92, "of full scale").default(0.85);

const blurWay = oneOf(["diffuser", "defocus", "drift"]);

/** The options of each kind of step. */
export const stepOptions = {
  centre: mapOf({
    /** How near the disc's centre comes to the middle of the frame, as a fraction of the disc's diameter. */
    toleranceFraction: numberFrom(0.0005, 0.2, "of the disc's diameter").default(0.002),
    /** How far from the expected place the search may go. */
    searchDegrees: numberFrom(0.1, 5, "degrees").default(2),
    onFailure,
  }),
  "leak-check": mapOf({
    /** A leak above this fraction of the flat's level stops the flat. */
    limitFraction: numberFrom(0.0001, 0.05, "of the flat's level").default(0.001),
    frames: wholeFrom(4, 64, "frames of each kind").default(16),
    onFailure,
  }),
  darks: mapOf({
    frames: wholeFrom(4, 1000, "frames").default(16),
    /** Left out, the exposure is that of the flat. */
    exposureSeconds: numberFrom(0.000001, 3600, "seconds").optional(),
    onFailure,
  }),
  flat: mapOf({
    blur: blurWay,
    frames: z
      .union([z.enum(["as-images", "enough"]), wholeFrom(4, 1000, "frames")], {
        error: "a whole number from 4 to 1000 frames, as-images, or enough",
      })
      .default("as-images"),
    /** With `frames: enough`: how many images will be averaged, and how much noisier than with a perfect flat they may be; 50 and 0.1. */
    imagesToStack: wholeFrom(1, 100_000, "images").optional(),
    addedNoiseFraction: numberFrom(0.02, 1, "of the stack's own noise").optional(),
    levelFraction,
    /** How far a drift wanders from the disc's centre; the disc's size may allow less. */
    driftRadiusFraction: numberFrom(0.1, 0.5, "of the frame's short side").optional(),
    darkFrames: wholeFrom(4, 1000, "frames").optional(),
    /** Afterwards looks at the plain Sun from nine pointings, which shows what the light itself wrote into the flat. */
    proveLight: z.boolean({ error: "true or false" }).default(true),
    /** Skips the step when the ledger holds a good flat of this train that a few frames through the diffuser show to fit. */
    onlyWhenNoneFits: z.boolean({ error: "true or false" }).default(false),
    onFailure,
  }),
  images: mapOf({
    /** At most, where a time ends them too. */
    frames: wholeFrom(1, 10000, "frames"),
    /** From the beginning of one exposure to that of the next; left out, as fast as the camera gives them. */
    everySeconds: numberFrom(0.1, 3600, "seconds").optional(),
    forMinutes: numberFrom(0.1, 1440, "minutes").optional(),
    /** Ends when the Sun has sunk to that altitude. */
    untilSunAltitudeDegrees: numberFrom(5, 85, "degrees").optional(),
    levelFraction: numberFrom(0.1, 0.92, "of full scale").default(0.7),
    /** The flat is held against the first image, then one in so many, and the last. */
    checkFlatEveryFrames: wholeFrom(1, 10000, "frames").default(25),
    /** Frames through the diffuser for such a check, where the Sun's own structure hides the dust in an image; 4, or with `tell` 0. */
    testFrames: wholeFrom(0, 64, "frames").optional(),
    /** What a flat that no longer fits leads to: a line in the report, or a new flat as the plan's own `flat` step takes it. */
    whenFlatMoved: oneOf(["tell", "new-flat"]).default("tell"),
    /** In the whole of a run. */
    newFlatsMost: wholeFrom(1, 20, "flats").default(2),
    onFailure,
  }).refine((images) => images.forMinutes === undefined || images.untilSunAltitudeDegrees === undefined, {
    error: "forMinutes or untilSunAltitudeDegrees, not both",
  }),
  wait: mapOf({
    minutes: numberFrom(0, 1440, "minutes").optional(),
    untilSunAltitudeDegrees: numberFrom(0, 85, "degrees").optional(),
    for: textLine("what is waited for").optional(),
    onFailure,
  }).refine((wait) => (wait.minutes === undefined) !== (wait.untilSunAltitudeDegrees === undefined), {
    error: "exactly one of minutes, untilSunAltitudeDegrees",
  }),
} as const;

export type StepKind = keyof typeof stepOptions;
export type StepOptions<Kind extends StepKind> = z.infer<(typeof stepOptions)[Kind]>;
export type PlanStep = { [Kind in StepKind]: { step: Kind } & StepOptions<Kind> }[StepKind];

/** Which kinds are of use only after a `centre` step. */
export const afterCentring: Readonly<Record<StepKind, boolean>> = {
  centre: false,
  "leak-check": true,
  darks: false,
  flat: true,
  images: true,
  wait: false,
};

export const stepKinds = Object.keys(stepOptions) as StepKind[];

const allowedKinds = `one of ${stepKinds.join(", ")}, alone or as a key with its options`;

/**
 * A step is written as a bare word (`- centre`) or as a map of one key (`- centre: { searchDegrees: 1 }`).
 * Both become `{ step, …options }` with the defaults filled in.
 */
export const stepEntry = z.unknown().transform((entry, ctx): PlanStep => {
  const [kind, options, keyed] = kindAndOptions(entry);
  if (kind === undefined || !(kind in stepOptions)) {
    const nearest = kind === undefined ? undefined : nearestWord(kind, stepKinds);
    const message = nearest ? `${allowedKinds}; did you mean \`${nearest}\`?` : allowedKinds;
    ctx.issues.push({ code: "custom", message, input: kind ?? entry, path: [] });
    return z.NEVER;
  }
  const path = keyed ? [kind] : [];
  return { step: kind, ...parsePart(stepOptions[kind as StepKind], options, ctx, path) } as PlanStep;
});

function kindAndOptions(entry: unknown): [string | undefined, unknown, boolean] {
  if (typeof entry === "string") return [entry, {}, false];
  if (entry === null || typeof entry !== "object" || Array.isArray(entry))
    return [undefined, undefined, false];
  const keys = Object.keys(entry);
  if (keys.length !== 1) return [undefined, undefined, false];
  const kind = keys[0]!;
  return [kind, (entry as Record<string, unknown>)[kind] ?? {}, true];
}
