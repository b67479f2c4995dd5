import { existsSync, mkdirSync } from "node:fs";
import { join } from "node:path";
import { FitsFile } from "../../drivers/formats/fits-file.ts";
import { writeWholeFile } from "../../drivers/formats/whole-file.ts";
import type { Flat } from "../imaging/combining/normalise-flat.ts";
import { mapInto } from "../imaging/numerics/map-into.ts";
import type { Shape } from "../imaging/numerics/shape.ts";
import { contrastByScale } from "../imaging/proof/contrast-by-scale.ts";
import type { ScaleError } from "../imaging/proof/error-budget.ts";
import { readMasterFlat } from "../masters/read-master.ts";
import { imageWarnings } from "../run/record/flat-doubts.ts";
import { lastStepResult } from "../run/record/found-in-record.ts";
import type { RunRecord } from "../run/record/run-record.ts";
import { trackingWarnings } from "../run/record/tracking-doubts.ts";
import { timeLineChart } from "./charts/time-line-chart.ts";
import { errorCharts } from "./error-charts.ts";
import { flatCharts } from "./flat-charts.ts";
import { flatCheckRows } from "./flat-check-rows.ts";
import { beforeAfterPictures } from "./pictures/before-after.ts";
import { flatPicture, type MarkedShadow } from "./pictures/flat-picture.ts";
import { leftoverPicture, maskPicture, sigmaPicture } from "./pictures/map-pictures.ts";
import { type CameraOnSky, skyOverlay } from "./pictures/sky-overlay.ts";
import { proofRows } from "./proof-rows.ts";
import { type ReportChart, type ReportInput, type ReportPicture, reportPage } from "./report-page.ts";
import { reportFacts, reportSummary, settingRows } from "./report-words.ts";
import { timeLineBars, timeLineNotes } from "./time-line.ts";

export interface ReportOptions {
  readonly folder: string;
  readonly truth?: ReportInput["truth"];
  /** What was rehearsed: there was no hardware. */
  readonly rehearsal?: string;
}

const reportFile = "report.html";

/**
 * Draws `report.html` and `pictures/` of a run from its record and its files.
 * What a run that ended early did not make is left out; the page is written in any case.
 * @returns the files written, below the folder
 */
export async function writeReport(record: RunRecord, options: ReportOptions): Promise<readonly string[]> {
  const { folder, truth, rehearsal } = options;
  const found = lastStepResult(record, "flat");
  const doubts = imageWarnings(record.steps);
  const pictures = picturesOf(record, folder);
  const charts = [...chartsOf(record, folder), timeLine(record)];
  const page = reportPage({
    title: `${record.plan.plan} on ${record.rig.rig}`,
    verdict: record.verdict,
    summary: reportSummary(record),
    facts: reportFacts(record),
    reasons: [...(found?.reasons ?? []), ...doubts.unserved, ...doubts.between, ...trackingWarnings(record)],
    figures: found ? proofRows(found.proof.figures) : [],
    pictures: pictures.map(({ picture }) => picture),
    errors: found ? errorCharts(found.proof.budget, contrastOfImage(record, folder)) : [],
    charts,
    dust: found ? found.proof.dust : [],
    truth,
    checks: flatCheckRows(record),
    notes: timeLineNotes(record),
    settings: settingRows(record),
    rehearsal,
    links: linkedFiles(record, folder),
  });
  mkdirSync(join(folder, "pictures"), { recursive: true });
  const written = pictures.map(({ name, picture }) => {
    const file = `pictures/${name}.png`;
    writeWholeFile(join(folder, file), picture.png, { replace: true });
    return file;
  });
  writeWholeFile(join(folder, reportFile), new TextEncoder().encode(page), { replace: true });
  return [reportFile, ...written];
}

/** What a reader may want to open beside the page. */
function linkedFiles({ files }: RunRecord, folder: string): string[] {
  const always = ["run.json", "events.ndjson"].filter((name) => existsSync(join(folder, name)));
  return [...new Set([...files.filter((file) => /\.fits?$/.test(file)), ...always])].slice(0, linksMost);
}

const linksMost = 40;

interface NamedPicture {
  readonly name: string;
  readonly picture: ReportPicture;
}

function picturesOf(record: RunRecord, folder: string): NamedPicture[] {
  const found = lastStepResult(record, "flat");
  if (!found || !existsSync(join(folder, found.files.flat))) return [];
  const flat = readMasterFlat(join(folder, found.files.flat));
  const { shape, gain, mask } = flat;
  const sky = lastStepResult(record, "centre")?.cameraOnSky;
  const marked = flatPicture({ ...shape, gain, mask, dust: found.proof.dust });
  const maps = mapsOf(flat, uint16Pixels(join(folder, found.files.sampleFrame)), found.pedestalAdu);
  const image = imageOf(record, folder);
  if (image?.length !== gain.length)
    return [{ name: "flat", picture: withSky(marked, sky, shape, found.proof.dust) }, ...maps];
  const shown = beforeAfterPictures({
    imageAdu: image,
    darkAdu: found.pedestalAdu,
    flat,
    dust: found.proof.dust,
  });
  return [
    { name: "before", picture: withSky(shown.before, sky, shape, found.proof.dust) },
    { name: "after", picture: withSky(shown.after, sky, shape, found.proof.dust) },
    ...(shown.detail ?? []).map((picture, i) => ({
      name: i === 0 ? "detail-before" : "detail-after",
      picture,
    })),
    { name: "flat", picture: withSky(marked, sky, shape, found.proof.dust) },
    ...maps,
  ];
}

function mapsOf(flat: Flat, sampleAdu: Uint16Array | undefined, pedestalAdu: number): NamedPicture[] {
  const leftover =
    sampleAdu?.length === flat.gain.length
      ? leftoverPicture(
          flat,
          mapInto(new Float32Array(sampleAdu.length), sampleAdu, (value) => value - pedestalAdu),
        )
      : undefined;
  return [
    { name: "leftover", picture: leftover },
    { name: "sigma", picture: sigmaPicture(flat) },
    { name: "mask", picture: maskPicture(flat) },
  ].flatMap(({ name, picture }) => (picture ? [{ name, picture }] : []));
}

/** With north, east and a scale, where the run has found them. */
function withSky(
  picture: ReportPicture,
  sky: CameraOnSky | undefined,
  shape: Shape,
  dust: readonly MarkedShadow[],
): ReportPicture {
  if (sky === undefined) return picture;
  const over = `${picture.overlay?.svg ?? ""}${skyOverlay(sky, shape, dust)}`;
  return { ...picture, overlay: { ...shape, svg: over } };
}

/** Of the first image of the day, where there is one of the flat's shape. */
function contrastOfImage(record: RunRecord, folder: string): readonly ScaleError[] {
  const found = lastStepResult(record, "flat");
  const image = imageOf(record, folder);
  if (!found || !image || !existsSync(join(folder, found.files.flat))) return [];
  const flat = readMasterFlat(join(folder, found.files.flat));
  if (image.length !== flat.gain.length) return [];
  const sides = found.proof.budget.sum.map(({ sidePx }) => sidePx);
  return contrastByScale(image, found.pedestalAdu, flat, sides);
}

function imageOf(record: RunRecord, folder: string): Uint16Array | undefined {
  const file = lastStepResult(record, "images")?.files[0];
  return file === undefined ? undefined : uint16Pixels(join(folder, file));
}

function uint16Pixels(path: string): Uint16Array | undefined {
  if (!existsSync(path)) return undefined;
  using file = FitsFile.open(path);
  const image = file.image();
  const pixels = image.readRows(0, image.rowCount);
  return pixels instanceof Uint16Array ? pixels : undefined;
}

function chartsOf(record: RunRecord, folder: string): ReportChart[] {
  const found = lastStepResult(record, "flat");
  if (!found) return [];
  const step = record.plan.steps.find((one) => one.step === "flat");
  return flatCharts(found, step?.levelFraction ?? 0.85, uint16Pixels(join(folder, found.files.sampleFrame)));
}

function timeLine(record: RunRecord): ReportChart {
  return {
    title: "Time line",
    caption: "The steps of the plan; between them nothing ran.",
    svg: timeLineChart(timeLineBars(record)),
    wide: true,
  };
}
