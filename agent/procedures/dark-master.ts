import { join } from "node:path";
import { given } from "../../drivers/kit/given.ts";
import type { Frame } from "../../drivers/roles/camera.ts";
import type { Master } from "../imaging/combining/finish-master.ts";
import { MasterBuilder } from "../imaging/combining/master-builder.ts";
import { markUnhealthy, stepOfFrame } from "../masters/mark-unhealthy.ts";
import { type DarkFromFile, readMasterDark } from "../masters/read-master.ts";
import { SeriesNotes, writeDarkMaster } from "./master-files.ts";
import type { Workbench } from "./step.ts";

/** Exposures that differ by less are the same to a dark. */
const sameExposure = 0.02;

/** Builds a dark master from frames and makes it known to the steps that follow. */
export class DarkSeries {
  readonly #notes = new SeriesNotes();
  #builder: MasterBuilder | undefined;
  #exposureSeconds = 0;
  #stepAdu = 1;

  constructor(private readonly frameCountExpected: number) {}

  get frameCount(): number {
    return this.#builder?.frameCount ?? 0;
  }

  get sensorCelsius(): number | undefined {
    return this.#notes.sensorCelsius;
  }

  add(frame: Frame): number {
    const shape = { widthPx: frame.widthPx, heightPx: frame.heightPx };
    if (!this.#builder) {
      this.#builder = new MasterBuilder({ shape, frameCountExpected: this.frameCountExpected, kind: "dark" });
      this.#stepAdu = stepOfFrame(frame.pixelsAdu);
    }
    this.#exposureSeconds = frame.exposureSeconds;
    this.#notes.add(frame);
    this.#builder.add(frame.pixelsAdu);
    return this.#builder.frameCount;
  }

  /** See `MasterBuilder.released`. */
  released(): readonly Uint16Array[] {
    return this.#builder?.released() ?? [];
  }

  /** Writes the master below the run's folder and puts it, and its hot pixels, into the findings. */
  finish(bench: Workbench): Master {
    if (!this.#builder) throw new Error("no dark was taken");
    const dark = this.#builder.finish();
    const health = markUnhealthy(dark, this.#stepAdu);
    const file = writeDarkMaster(bench, dark, this.#notes);
    bench.findings.unhealthyPx = health.unhealthyPx;
    const exposureSeconds = this.#exposureSeconds;
    bench.findings.darkMaster = { file, exposureSeconds, frameCount: dark.frameCount };
    bench.note("dark master", {
      frames: dark.frameCount,
      exposureSeconds,
      hotPx: health.hotPx,
      stuckPx: health.stuckPx ?? "too few frames for so little noise to tell",
      unsteadyPx: health.unsteadyPx,
      ...given({ sensorCelsius: this.sensorCelsius }),
    });
    return dark;
  }
}

/** Whether the run has a dark for that exposure, of enough frames. Gain and offset are the same throughout a run. */
export function hasMatchingDark(
  { findings }: Workbench,
  exposureSeconds: number,
  frameCountMin: number,
): boolean {
  const dark = findings.darkMaster;
  if (!dark || dark.frameCount < frameCountMin) return false;
  return Math.abs(dark.exposureSeconds / exposureSeconds - 1) <= sameExposure;
}

/** The run's dark master; it is there. */
export function readDark(bench: Workbench): DarkFromFile & { readonly file: string } {
  const { file } = bench.findings.darkMaster!;
  return { ...readMasterDark(join(bench.folder, file)), file };
}
