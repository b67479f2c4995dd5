import type { Frame } from "../../../drivers/roles/camera.ts";
import type { Master } from "../../imaging/combining/finish-master.ts";
import { conversionOfPair } from "../../imaging/noise/conversion-of-pair.ts";
import { type Conversion, conversionOfSeries } from "../../imaging/noise/conversion-of-series.ts";
import { mapInto } from "../../imaging/numerics/map-into.ts";
import type { Shape } from "../../imaging/numerics/shape.ts";
import type { MeasuredConversion } from "../findings.ts";
import type { Workbench } from "../step.ts";
import type { TunedExposure } from "../tune-exposure/tune-request.ts";
import { readUnhealthyPixels } from "../unhealthy-px.ts";
import type { FlatWork } from "./flat-work.ts";

type WithDark = Pick<FlatWork, "bench" | "dark" | "tuned">;

/** What the scatter of the frames beyond that of the darks tells of the camera, for everything that is written from here on. */
export function conversionFromSeries(work: WithDark & Pick<FlatWork, "notes">, series: Master): void {
  const gain = work.notes.usualFrame.gain ?? work.tuned!.gain;
  saveConversion(work.bench, conversionOfSeries(series, frameSigma(work)), gain, "a flat's frames");
}

/** The same from two frames at rest, where those of the flat are displaced. What is known better already stays. */
export function conversionFromPair(
  work: WithDark,
  [first, second]: readonly [Frame, Frame],
  shape: Shape,
): void {
  const { bench, dark } = work;
  const tuned: TunedExposure = work.tuned!;
  const unhealthyPx = readUnhealthyPixels(bench, first.pixelsAdu.length);
  const clipAdu = tuned.topAdu - 1;
  const usePx = mapInto(new Uint8Array(first.pixelsAdu.length), first.pixelsAdu, (value, i) =>
    unhealthyPx?.[i] !== 1 && Math.max(value, second.pixelsAdu[i]!) < clipAdu ? 1 : 0,
  );
  const darks = { meanAdu: dark!.meanAdu, frameSigmaAdu: frameSigma(work) };
  const measured = conversionOfPair([first.pixelsAdu, second.pixelsAdu], darks, usePx, shape);
  const gain = first.gain ?? tuned.gain;
  const known = bench.findings.conversion;
  if (measured && known?.gain === gain && relativeSigma(known) <= relativeSigma(measured)) return;
  saveConversion(bench, measured, gain, "two frames at rest");
}

function saveConversion(
  bench: Workbench,
  measured: Conversion | undefined,
  gain: number,
  from: NonNullable<MeasuredConversion["from"]>,
): void {
  if (!measured) return;
  bench.findings.conversion = { ...measured, gain, from, measuredUtcMs: bench.clock.nowMs() };
  bench.note("conversion measured", { ...measured, gain, from });
}

/** Of a single dark's pixel. */
function frameSigma({ bench, dark }: WithDark): Float32Array {
  const root = Math.sqrt(bench.findings.darkMaster!.frameCount);
  return dark!.sigmaAdu.map((sigma) => sigma * root);
}

function relativeSigma({ electronsPerAdu, electronsPerAduSigma }: Conversion): number {
  return electronsPerAduSigma / electronsPerAdu;
}
