import * as z from "zod";
import { mapOf, numberFrom, oneOf, parsePart, schemaInFile, textLine, wholeFrom } from "./fields.ts";
import { nearestWord } from "./nearest.ts";

const onFailure = oneOf(["stop", "continue"])
  .default("stop")
  .describe("What happens to the rest of the plan when this step fails.");
const levelFraction = numberFrom(0.3, 0.92, "of full scale")
  .default(0.85)
  .describe("Where the brightest pixels of a frame sit, as a fraction of full scale.");

const blurWay = oneOf(["diffuser", "defocus", "drift"]).describe(
  "What keeps the Sun's own structure out of the flat: a diffuser in the light, the focuser far from focus, or many frames of a Sun that wanders over the sensor. One of them is enough; they are never combined.",
);

/** The options of each kind of step, and what it does. */
export const stepOptions = {
  centre: mapOf({
    toleranceFraction: numberFrom(0.0005, 0.2, "of the disc's diameter")
      .default(0.002)
      .describe(
        "How near the disc's centre comes to the middle of the frame, as a fraction of the disc's diameter.",
      ),
    searchDegrees: numberFrom(0.1, 5, "degrees")
      .default(2)
      .describe("How far from the expected place the search may go."),
    onFailure,
  }).describe("Finds the Sun and brings its disc to the middle of the frame."),
  "leak-check": mapOf({
    limitFraction: numberFrom(0.0001, 0.05, "of the flat's level")
      .default(0.001)
      .describe("A leak above this fraction of the flat's level stops the flat."),
    frames: wholeFrom(4, 64, "frames of each kind")
      .default(16)
      .describe("Frames with the cover closed and with it open, each."),
    onFailure,
  }).describe("Looks for light that comes past the closed cover."),
  darks: mapOf({
    frames: wholeFrom(4, 1000, "frames").default(16).describe("Dark frames, averaged to a master."),
    exposureSeconds: numberFrom(0.000001, 3600, "seconds")
      .optional()
      .describe("Of every dark; that of the flat if left out."),
    onFailure,
  }).describe("Takes darks behind the closed cover."),
  flat: mapOf({
    blur: blurWay,
    frames: z
      .union([z.enum(["as-images", "enough"]), wholeFrom(4, 1000, "frames")], {
        error: "a whole number from 4 to 1000 frames, as-images, or enough",
      })
      .default("as-images")
      .describe(
        "How many are averaged: a number, as many as the plan's images, or until more would buy nothing.",
      ),
    imagesToStack: wholeFrom(1, 100_000, "images")
      .optional()
      .describe("With `frames: enough`: how many images will be averaged; 50 if left out."),
    addedNoiseFraction: numberFrom(0.02, 1, "of the stack's own noise")
      .optional()
      .describe(
        "With `frames: enough`: how much noisier the averaged images may be than with a perfect flat; 0.1 if left out.",
      ),
    levelFraction,
    driftRadiusFraction: numberFrom(0.1, 0.5, "of the frame's short side")
      .optional()
      .describe("How far a drift wanders from the disc's centre; the disc's size may allow less."),
    darkFrames: wholeFrom(4, 1000, "frames")
      .optional()
      .describe("Darks of the flat's own exposure; 16 if left out."),
    proveLight: z
      .boolean({ error: "true or false" })
      .default(true)
      .describe(
        "Afterwards looks at the plain Sun from nine pointings, which shows what the light itself wrote into the flat.",
      ),
    correctLight: z
      .boolean({ error: "true or false" })
      .default(false)
      .describe(
        "Divides out of the flat what those looks show that the light wrote into it, a slope apart, and keeps that only if nine more looks show a better flat; not with `blur: drift`.",
      ),
    correctResponse: z
      .boolean({ error: "true or false" })
      .default(false)
      .describe(
        "Straightens the counts by the sensor's curve, where that is known to 0.05 % of an image; `apply` then does the same with images. Of a flat by diffuser only.",
      ),
    onlyWhenNoneFits: z
      .boolean({ error: "true or false" })
      .default(false)
      .describe(
        "Skips the step when the ledger holds a good flat of this train that a few frames through the diffuser show to fit.",
      ),
    onFailure,
  })
    .refine(({ correctLight, proveLight }) => !correctLight || proveLight, {
      error: "correctLight only with proveLight, whose looks it goes by",
    })
    .refine(({ correctLight, blur }) => !correctLight || blur !== "drift", {
      error: "correctLight only of a flat by diffuser or defocus",
    })
    .refine(({ correctResponse, blur }) => !correctResponse || blur === "diffuser", {
      error: "correctResponse only of a flat by diffuser",
    })
    .describe("Takes a flat with its darks and proves it."),
  images: mapOf({
    frames: wholeFrom(1, 10000, "frames").describe("How many images, at most, where a time ends them too."),
    everySeconds: numberFrom(0.1, 3600, "seconds")
      .optional()
      .describe(
        "From the beginning of one exposure to that of the next; left out, as fast as the camera gives them.",
      ),
    forMinutes: numberFrom(0.1, 1440, "minutes").optional().describe("No image is begun later than that."),
    untilSunAltitudeDegrees: numberFrom(5, 85, "degrees")
      .optional()
      .describe("No image is begun after the Sun has sunk to that altitude."),
    levelFraction: numberFrom(0.1, 0.92, "of full scale")
      .default(0.7)
      .describe("Where the brightest pixels of an image sit, as a fraction of full scale."),
    checkFlatEveryFrames: wholeFrom(1, 10000, "frames")
      .default(25)
      .describe("The flat is held against the first image, then one in so many, and the last."),
    testFrames: wholeFrom(0, 64, "frames")
      .optional()
      .describe(
        "Frames through the diffuser for such a check, where the Sun's own structure hides the dust in an image; 4, or with `tell` 0.",
      ),
    whenFlatMoved: oneOf(["tell", "new-flat"])
      .default("tell")
      .describe(
        "What a flat that no longer fits leads to: a line in the report, or a new flat as the plan's own `flat` step takes it.",
      ),
    newFlatsMost: wholeFrom(1, 20, "flats").default(2).describe("How many new flats a whole run may take."),
    onFailure,
  })
    .refine((images) => images.forMinutes === undefined || images.untilSunAltitudeDegrees === undefined, {
      error: "forMinutes or untilSunAltitudeDegrees, not both",
    })
    .describe("Takes images, divides them by the flat, and watches whether it still fits."),
  wait: mapOf({
    minutes: numberFrom(0, 1440, "minutes").optional().describe("How long; or, instead, until when."),
    untilSunAltitudeDegrees: numberFrom(0, 85, "degrees")
      .optional()
      .describe("Until the Sun stands so high."),
    for: textLine("what is waited for").optional().describe("What is waited for, told while it waits."),
    onFailure,
  })
    .refine((wait) => (wait.minutes === undefined) !== (wait.untilSunAltitudeDegrees === undefined), {
      error: "exactly one of minutes, untilSunAltitudeDegrees",
    })
    .describe("Waits, covered."),
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

/** Of a step as a file has it, for editors and the reference. */
const stepInFile = z.union([
  z.enum(stepKinds as [StepKind, ...StepKind[]]),
  ...stepKinds.map((kind) => z.strictObject({ [kind]: stepOptions[kind].nullable() })),
]);

const allowedKinds = `one of ${stepKinds.join(", ")}, alone or as a key with its options`;

/**
 * A step is written as a bare word (`- centre`) or as a map of one key (`- centre: { searchDegrees: 1 }`).
 * Both become `{ step, …options }` with the defaults filled in.
 */
export const stepEntry = z
  .unknown()
  .meta(schemaInFile(stepInFile))
  .transform((entry, ctx): PlanStep => {
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
