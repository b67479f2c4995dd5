import { given } from "../../../drivers/kit/given.ts";
import type { Site } from "../../../drivers/roles/mount.ts";
import type { StepKind, StepOptions } from "../../../plans/plan-steps.ts";
import { driftFramesMin } from "../../../plans/step-order.ts";
import { framesEnough, type StackRequest } from "../../imaging/noise/frames-enough.ts";
import { centre } from "../../procedures/centre/centre.ts";
import type { CentreFound, CentreRequest } from "../../procedures/centre/centre-request.ts";
import { type DarksFound, type DarksRequest, darks } from "../../procedures/darks/darks.ts";
import type { StepFindings } from "../../procedures/findings.ts";
import { flat } from "../../procedures/flat/flat.ts";
import type { FlatFound, FlatRequest } from "../../procedures/flat/flat-request.ts";
import { images } from "../../procedures/images/images.ts";
import type { FlatCheckRequest, ImagesFound, ImagesRequest } from "../../procedures/images/images-request.ts";
import { leakCheck } from "../../procedures/leak-check/leak-check.ts";
import type { LeakCheckFound, LeakCheckRequest } from "../../procedures/leak-check/leak-request.ts";
import { type WaitRequest, type WaitResult, wait } from "../../procedures/wait/wait.ts";
import { sunAbove } from "../../sky/sun-day.ts";
import { type StepRow, type StepScene, type StepTable, stepRow, sunAltitudeLimit } from "./step-row.ts";

/** Darks that a flat is calibrated with unless the plan says how many. */
const darkFramesDefault = 16;
/** Independent frames that a flat is proved with. */
const proofFrames = 8;
/** However many would be enough. */
const framesMost = 1000;
const imageLevelUsual = 0.7;
/** What `frames: enough` is for unless the plan says. */
const imagesToStackUsual = 50;
const addedNoiseUsual = 0.1;
/** Through the diffuser, to see whether a flat still fits; four tell a shift of a pixel on shadows a few percent deep. */
const testFramesUsual = 4;
/** Reckoned for the diffuser's way into the light and out of it [s]. */
const diffuserMoveSeconds = 40;
/** Reckoned for a frame besides its exposure: readout, transfer, writing [s]. */
const perFrameSeconds = 2;
/** Reckoned for an exposure that no history foretells [s]. */
const unknownExposureSeconds = 1;
/** Reckoned for the way from frame to frame of a drift [s]. */
const driftLegSeconds = 25;
/** Reckoned for a focuser's way there and back, and for looks from round about [s]. */
const defocusSeconds = 900;
/** Reckoned for what tunes the exposure and shows the sensor's response. */
const besideFrames = 18;
/** Reckoned for nine looks at the plain Sun and the ways between them [s]. */
const lightSeconds = 150;

/** What blurs the Sun for a flat, beside the mount. */
const blurredBy = { diffuser: ["diffuser"], defocus: ["focuser"], drift: [] } as const;

/** Every kind of step: who carries it out, what it needs, and what it is asked by the plan and the rig file. */
export const stepTable = {
  centre: stepRow<"centre", CentreRequest, CentreFound>({
    step: centre,
    sun: "searched",
    needs: () => ["mount"],
    request: ({ toleranceFraction, searchDegrees }, scene) => {
      const { brightnessTripFactor, edgeAduPerSecondMax } = scene.rigFile.limits;
      return {
        toleranceFraction,
        searchDegrees,
        sunAltitudeDegreesMin: sunAltitudeLimit(scene),
        brightnessTripFactor,
        ...(edgeAduPerSecondMax === undefined ? {} : { edgeAduPerSecondMax }),
        coverAfter: coverAfter(scene),
      };
    },
    secondsPlanned: () => 300,
  }),
  "leak-check": stepRow<"leak-check", LeakCheckRequest, LeakCheckFound>({
    step: leakCheck,
    sun: "looked at",
    needs: () => ["cover", "diffuser"],
    request: ({ limitFraction, frames }, scene) => ({
      limitFraction,
      frames,
      levelFraction: flatOf(scene)?.levelFraction ?? 0.85,
      coverAfter: coverAfter(scene),
    }),
    secondsPlanned: ({ frames }, { findings }) => 180 + 2 * frames * frameSeconds(findings, "diffuser"),
  }),
  darks: stepRow<"darks", DarksRequest, DarksFound>({
    step: darks,
    sun: "looked at",
    needs: () => [],
    request: ({ frames, exposureSeconds }) => ({
      frames,
      ...(exposureSeconds === undefined ? {} : { exposureSeconds }),
    }),
    secondsPlanned: ({ frames, exposureSeconds }, { findings }) =>
      120 +
      frames *
        (exposureSeconds === undefined
          ? frameSeconds(findings, "diffuser")
          : exposureSeconds + perFrameSeconds),
  }),
  flat: stepRow<"flat", FlatRequest, FlatFound>({
    step: flat,
    sun: "looked at",
    needs: ({ blur }) => ["mount", ...blurredBy[blur]],
    request: (
      {
        levelFraction,
        darkFrames,
        driftRadiusFraction,
        onlyWhenNoneFits,
        proveLight,
        correctLight,
        correctResponse,
        ...step
      },
      scene,
    ) => ({
      blur: step.blur,
      frames: step.frames === "enough" ? framesMost : framesOfFlat({ ...step, levelFraction }, scene),
      ...(step.frames === "enough" ? { enough: stackAsked({ ...step, levelFraction }, scene) } : {}),
      darkFrames: darkFrames ?? darkFramesDefault,
      proofFrames,
      levelFraction,
      leakLimitFraction: leakLimitOf(scene),
      ...(driftRadiusFraction === undefined ? {} : { driftRadiusFraction }),
      proveLight,
      correctLight,
      correctResponse,
      ...(onlyWhenNoneFits ? { unlessKeptFits: { testFrames: testFramesUsual } } : {}),
      coverAfter: coverAfter(scene),
    }),
    secondsPlanned: ({ darkFrames, proveLight, correctLight, ...step }, scene) => {
      const { blur } = step;
      const flats = framesOfFlat(step, scene) + proofFrames;
      const all = flats + (darkFrames ?? darkFramesDefault) + besideFrames;
      const onTheWay = blur === "drift" ? flats * driftLegSeconds : blur === "defocus" ? defocusSeconds : 0;
      const looking = proveLight && blur !== "drift" ? (correctLight ? 2 : 1) * lightSeconds : 0;
      return 240 + onTheWay + looking + all * frameSeconds(scene.findings, blur);
    },
  }),
  images: stepRow<"images", ImagesRequest, ImagesFound>({
    step: images,
    sun: "looked at",
    needs: () => [],
    request: ({ levelFraction, ...step }, scene) => ({
      frames: imagesMost(step, scene),
      ...given({ everySeconds: step.everySeconds, secondsMost: imageSecondsMost(step, scene) }),
      levelFraction,
      coverAfter: coverAfter(scene),
      flatCheck: flatCheckOf(step, scene),
    }),
    secondsPlanned: ({ checkFlatEveryFrames, ...step }, scene) => {
      const perCheck = testSeconds(testFramesOf(step, scene), scene.findings);
      const frames = imagesMost(step, scene);
      const checks = 2 + Math.floor(frames / checkFlatEveryFrames);
      const perImage = Math.max(step.everySeconds ?? 0, frameSeconds(scene.findings, "none"));
      const all = frames * perImage + checks * perCheck;
      const most = imageSecondsMost(step, scene);
      // One image is taken in any case, and looked at once more at the end.
      return 90 + (most === undefined ? all : Math.min(all, most + perImage + perCheck));
    },
  }),
  wait: stepRow<"wait", WaitRequest, WaitResult>({
    step: wait,
    sun: "none",
    needs: () => [],
    request: ({ minutes, untilSunAltitudeDegrees, for: what }) => ({
      ...(minutes === undefined ? {} : { seconds: minutes * 60 }),
      ...(untilSunAltitudeDegrees === undefined ? {} : { untilSunAltitudeDegrees }),
      ...(what === undefined ? {} : { what: `waiting for ${what}` }),
    }),
    secondsPlanned: ({ minutes, untilSunAltitudeDegrees: until }, { rigFile, utcMs }) =>
      until === undefined ? (minutes ?? 0) * 60 : secondsUntilSun(rigFile.site, until, utcMs),
  }),
} satisfies StepTable;

/** What a kind of step finds. */
export type FoundOf<Kind extends StepKind> =
  (typeof stepTable)[Kind] extends StepRow<Kind, infer Found> ? Found : never;

/** Until the Sun is that high on this day; 0 when it never is again. */
function secondsUntilSun(site: Site, altitudeDegrees: number, utcMs: number): number {
  const window = sunAbove(utcMs, site, altitudeDegrees);
  if (!window || window.toUtcMs < utcMs) return 0;
  return Math.max(0, window.fromUtcMs - utcMs) / 1000;
}

type ImageTimes = Pick<
  StepOptions<"images">,
  "frames" | "everySeconds" | "forMinutes" | "untilSunAltitudeDegrees"
>;

/** How long images may be taken from when the step begins [s]; `undefined`: until all are taken. */
function imageSecondsMost(
  { forMinutes, untilSunAltitudeDegrees: altitude }: ImageTimes,
  { rigFile, utcMs }: StepScene,
): number | undefined {
  if (forMinutes !== undefined) return forMinutes * 60;
  if (altitude === undefined) return undefined;
  const window = sunAbove(utcMs, rigFile.site, altitude);
  return window ? Math.max(0, window.toUtcMs - utcMs) / 1000 : 0;
}

/** What the time leaves of them, where it is known how fast they follow each other. */
function imagesMost(step: ImageTimes, scene: StepScene): number {
  const most = imageSecondsMost(step, scene);
  if (most === undefined || step.everySeconds === undefined) return step.frames;
  return Math.min(step.frames, Math.floor(most / step.everySeconds) + 1);
}

function flatCheckOf(
  step: Pick<StepOptions<"images">, "checkFlatEveryFrames" | "testFrames" | "whenFlatMoved" | "newFlatsMost">,
  scene: StepScene,
): FlatCheckRequest {
  return {
    everyFrames: step.checkFlatEveryFrames,
    testFrames: testFramesOf(step, scene),
    whyNoNewFlat: () =>
      step.whenFlatMoved === "new-flat"
        ? scene.whyNoNewFlat?.(step.newFlatsMost)
        : "the plan only wants it told",
  };
}

/** None unless asked for; a plan that allows a new flat asks for them. A person is not sent for the diffuser. */
function testFramesOf(
  { testFrames, whenFlatMoved }: Pick<StepOptions<"images">, "testFrames" | "whenFlatMoved">,
  { rigFile }: StepScene,
): number {
  const { diffuser } = rigFile.devices;
  if (!diffuser || "by" in diffuser) return 0;
  return testFrames ?? (whenFlatMoved === "new-flat" ? testFramesUsual : 0);
}

function testSeconds(testFrames: number, findings: StepFindings): number {
  return testFrames === 0 ? 0 : diffuserMoveSeconds + testFrames * frameSeconds(findings, "diffuser");
}

/** Open only when images come next; everything else begins covered. */
function coverAfter({ plan, stepIndex }: StepScene): "open" | "closed" {
  return plan.steps[stepIndex + 1]?.step === "images" ? "open" : "closed";
}

function flatOf({ plan, stepIndex }: StepScene) {
  return plan.steps.slice(stepIndex).find((step) => step.step === "flat");
}

/** As many as the largest set of images that the plan takes; a flat of fewer than four frames cannot be proved. */
function framesOfImages(scene: StepScene): number {
  const { steps } = scene.plan;
  return Math.max(4, ...steps.map((step) => (step.step === "images" ? imagesMost(step, scene) : 0)));
}

/** As many as the images if the plan says so; a drift is solved from no fewer than its least. */
function framesOfFlat(
  step: Pick<
    StepOptions<"flat">,
    "blur" | "frames" | "imagesToStack" | "addedNoiseFraction" | "levelFraction"
  >,
  scene: StepScene,
): number {
  const { blur, frames } = step;
  if (frames === "enough") return Math.min(framesMost, framesEnough(stackAsked(step, scene)));
  if (frames !== "as-images") return frames;
  return Math.max(framesOfImages(scene), blur === "drift" ? driftFramesMin : 0);
}

/** Images are exposed as the plan says, or as images usually are. */
function stackAsked(
  step: Pick<StepOptions<"flat">, "imagesToStack" | "addedNoiseFraction" | "levelFraction">,
  { plan }: StepScene,
): StackRequest {
  const images = plan.steps.find((one) => one.step === "images");
  return {
    imagesToStack: step.imagesToStack ?? imagesToStackUsual,
    addedNoiseFraction: step.addedNoiseFraction ?? addedNoiseUsual,
    imageOverFlatLevel: (images?.levelFraction ?? imageLevelUsual) / step.levelFraction,
  };
}

/** The limit of the last leak check before the flat. */
function leakLimitOf({ plan, stepIndex }: StepScene): number {
  const check = plan.steps.slice(0, stepIndex).findLast((step) => step.step === "leak-check");
  return check?.limitFraction ?? 0.001;
}

function frameSeconds(findings: StepFindings, blur: keyof StepFindings["lightRate"]): number {
  const rate = findings.lightRate[blur];
  const top = findings.topCodeAdu ?? 65_535;
  const exposureSeconds = rate ? (0.85 * top) / rate.edgeAduPerSecond : unknownExposureSeconds;
  return exposureSeconds + perFrameSeconds;
}
