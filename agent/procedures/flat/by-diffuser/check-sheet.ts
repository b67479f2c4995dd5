import { given } from "../../../../drivers/kit/given.ts";
import type { Frame } from "../../../../drivers/roles/camera.ts";
import type { ClearSheet } from "../../../imaging/light/clear-sheet.ts";
import { rules } from "../../../imaging/proof/proof-figure.ts";
import { computeInThread } from "../../../threads/compute-in-thread.ts";
import { exposeTuned } from "../../frame-series.ts";
import { StepError } from "../../step-error.ts";
import { readUnhealthyPixels } from "../../unhealthy-px.ts";
import type { FlatWork } from "../flat-work.ts";
import { levelsOfLook } from "../light/levels-of-look.ts";
import { discOfLook } from "../light/look-disc.ts";

/** A sheet is refused for what is beyond chance. */
const surelySigmas = 3;
/** Up to here the Sun's picture can be divided out again; more of it is a sheet too thin. */
const correctableShare = 0.03;

/**
 * One frame through the sheet, held against the one without: before forty are taken that would hold a picture of the Sun.
 * @throws StepError when a flat through this sheet would surely be bad
 */
export async function checkSheet(work: FlatWork, signal: AbortSignal): Promise<void> {
  const { bench, request, sun } = work;
  const tuned = work.tuned!;
  if (!request.proveLight || !sun || !bench.findings.cameraOnSky) return;
  const through = await exposeTuned(bench, tuned, "flat", signal);
  const { widthPx, heightPx, pixelsAdu } = through;
  if (pixelsAdu.length !== sun.pixelsAdu.length) return;
  const disc = discOfLook(bench, sun, tuned);
  const unhealthyPx = readUnhealthyPixels(bench, pixelsAdu.length);
  const levelsOf = (frame: Frame) =>
    levelsOfLook(frame, tuned.topAdu, unhealthyPx, (code) => code - tuned.pedestalAdu);
  const [, errorMost] = rules.lightError.usable;
  const sheet = await computeInThread(bench, { signal, pxCount: pixelsAdu.length }, "judgeSheet", {
    shape: { widthPx, heightPx },
    throughAdu: levelsOf(through),
    plainAdu: levelsOf(sun),
    disc,
    errorMost,
  });
  bench.rig.camera.giveBack(pixelsAdu);
  if (!sheet) return;
  bench.note("light that the diffuser lets through clear", { ...sheet });
  if (sheet.error - surelySigmas * sheet.errorSigma <= errorMost) return;
  if (request.correctLight && sheet.share - surelySigmas * sheet.sigma <= correctableShare) return;
  const longer = (1.1 * Math.hypot(widthPx, heightPx)) / 2 / disc.radiusPx;
  throw new StepError(
    "DIFFUSER_TOO_CLEAR",
    describeSheet(sheet),
    adviseSheet(sheet, longer),
    false,
    given({ ...sheet }),
  );
}

const percent = (share: number) => `${Number((100 * share).toPrecision(2))} %`;

export function describeSheet({ share, sigma, error }: ClearSheet): string {
  return `the diffuser lets ${percent(share)} (± ${percent(sigma)}) of the light through clear: a picture of the Sun of ${percent(error)} would stay in the flat`;
}

/** @param longer focal length, of the one there is, at which the disc fills the frame */
export function adviseSheet({ shareMost, shareMostOnDisc }: ClearSheet, longer: number): string {
  const narrow =
    longer > 1 && shareMostOnDisc !== undefined
      ? `, or a focal length ${longer.toFixed(1)} times as long, so that the disc fills the frame: there up to ${percent(shareMostOnDisc)} may still be used`
      : "";
  return `Use a heavier sheet, or two layers where its maker allows that${narrow}. In this field up to ${percent(shareMost)} may be used, and with \`correctLight: true\` up to ${percent(Math.max(shareMost, correctableShare))}; \`proveLight: false\` takes the flat all the same, unproved.`;
}
