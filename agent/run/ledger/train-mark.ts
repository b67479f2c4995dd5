import { createHash } from "node:crypto";
import { given } from "../../../drivers/kit/given.ts";
import type { Rig } from "../../../drivers/roles/rig.ts";
import type { RigFile } from "../../../plans/rig-file.ts";
import type { TrainSeen } from "../../procedures/step.ts";
import type { BaselineEntry } from "../record/run-record.ts";

/** What identifies the present assembly of the optical train, apart from its dust, which a flat itself shows. */
export interface TrainFacts {
  readonly camera: string;
  readonly sensorPx: string;
  readonly pixelMicron: number;
  readonly binning: unknown;
  readonly region: unknown;
  readonly slot: unknown;
  /** To 0.1 degree: finer than a rotator returns, coarser than a flat notices. */
  readonly rotatorDegrees: number | undefined;
  readonly optics: RigFile["optics"];
  readonly stated: RigFile["train"];
  /** Absent: every pixel. */
  readonly colour?: string;
}

export function trainFacts(rig: Rig, rigFile: RigFile, baseline: readonly BaselineEntry[]): TrainFacts {
  const value = (role: string, key: string) =>
    baseline.find((entry) => entry.role === role && entry.setting.key === key)?.setting.value;
  const angle = value("rotator", "angle");
  const { sensorPx, pixelMicron, colour } = rig.camera.limits;
  return {
    camera: rig.camera.name,
    sensorPx: `${sensorPx.widthPx} x ${sensorPx.heightPx}`,
    pixelMicron,
    binning: value("camera", "binning"),
    region: value("camera", "region"),
    slot: value("wheel", "slot"),
    rotatorDegrees: typeof angle === "number" ? Math.round(angle * 10) / 10 : undefined,
    optics: rigFile.optics,
    stated: Object.fromEntries(Object.entries(rigFile.train).sort(([a], [b]) => (a < b ? -1 : 1))),
    ...given({ colour }),
  };
}

/** Twelve letters and digits; equal for equal facts. */
export function trainMark(facts: TrainFacts): string {
  return createHash("sha256").update(JSON.stringify(facts)).digest("hex").slice(0, 12);
}

/** What files say of the train; read from the devices, nothing is changed. */
export async function readTrain(rig: Rig, signal: AbortSignal): Promise<Omit<TrainSeen, "mark">> {
  const { binning, region } = await rig.camera.setup(signal);
  const slot = await rig.wheel?.slot(signal);
  const angle = await rig.rotator?.angleDegrees(signal);
  return {
    binning,
    regionAt: { xPx: region.xPx, yPx: region.yPx },
    ...(slot === undefined ? {} : { filter: rig.wheel?.slotNames[slot - 1] ?? String(slot) }),
    ...(angle === undefined ? {} : { rotatorDegrees: Math.round(angle * 10) / 10 }),
  };
}
