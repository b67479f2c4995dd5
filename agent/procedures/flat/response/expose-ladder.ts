import { given } from "../../../../drivers/kit/given.ts";
import { startStopwatch } from "../../../../drivers/kit/stopwatch.ts";
import { blockLevels } from "../../../imaging/light/block-levels.ts";
import { type LadderStep, measureResponse } from "../../../imaging/light/sensor-response.ts";
import type { CameraState, MeasuredResponse } from "../../findings.ts";
import { exposeTuned } from "../../frame-series.ts";
import type { Workbench } from "../../step.ts";
import { readUnhealthyPixels } from "../../unhealthy-px.ts";
import type { FlatWork } from "../flat-work.ts";

/** Of the flat's own exposure: down and up again, so that a drift of the light falls out, its ends the same for what is left. */
const ladder = [1, 0.6, 0.35, 0.18, 0.18, 0.35, 0.6, 1] as const;
/** A sensor's curve is a matter of its electronics: it stays. */
const knownForDays = 90;
const dayMs = 86_400_000;

/** A sensor this much warmer or colder is another one. */
const celsiusApart = 5;

type LadderWork = Pick<FlatWork, "bench" | "tuned" | "dark" | "notes" | "response">;

/** The sensor's curve from a ladder of exposures in the flat's own light; nothing is taken where it is known. */
export async function exposeLadder(work: LadderWork, signal: AbortSignal): Promise<void> {
  const { bench } = work;
  const tuned = work.tuned!;
  const state = await cameraState(bench, work, signal);
  const known = knownAt(bench, state);
  if (known) {
    work.response = known;
    return;
  }
  const { min } = bench.rig.camera.limits.exposureSeconds;
  if (ladder.some((share) => share * tuned.exposureSeconds < min)) {
    work.response = { notMeasured: "the camera has no exposures short enough for a ladder" };
    return;
  }
  const measured = measureResponse(await exposeSteps(work, signal));
  if (!measured) {
    work.response = { notMeasured: "the ladder of exposures did not tell" };
    return;
  }
  bench.findings.response = { ...measured, ...state, measuredUtcMs: bench.clock.nowMs() };
  bench.note("sensor's response", { ...measured });
  work.response = measured;
}

/** As an earlier step or run measured it, for the camera as it is set now. */
export async function findKnownResponse(
  bench: Workbench,
  work: Pick<FlatWork, "tuned" | "notes">,
  signal: AbortSignal,
): Promise<MeasuredResponse | undefined> {
  return knownAt(bench, await cameraState(bench, work, signal));
}

function knownAt(
  { findings: { response }, clock }: Workbench,
  at: CameraState,
): MeasuredResponse | undefined {
  if (!response || clock.nowMs() - response.measuredUtcMs > knownForDays * dayMs) return undefined;
  const { gain, offset, binning, topAdu, sensorCelsius } = response;
  const isSame = gain === at.gain && offset === at.offset && binning === at.binning && topAdu === at.topAdu;
  return isSame && isAsWarm(sensorCelsius, at.sensorCelsius) ? response : undefined;
}

/** Told of one time and not of the other, nobody knows. */
function isAsWarm(before: number | undefined, now: number | undefined): boolean {
  return before === undefined || now === undefined ? before === now : Math.abs(before - now) <= celsiusApart;
}

async function cameraState(
  { rig }: Workbench,
  { tuned, notes }: Pick<FlatWork, "tuned" | "notes">,
  signal: AbortSignal,
): Promise<CameraState> {
  const { gain, topAdu } = tuned!;
  const { offset, binning } = await rig.camera.setup(signal);
  const { sensorCelsius } = notes;
  return { gain, binning, topAdu, ...given({ offset, sensorCelsius }) };
}

async function exposeSteps({ bench, tuned, dark }: LadderWork, signal: AbortSignal): Promise<LadderStep[]> {
  const { exposureSeconds, topAdu } = tuned!;
  const steps: LadderStep[] = [];
  const elapsedSeconds = startStopwatch(bench.clock);
  for (const share of ladder) {
    const at = { exposureSeconds: share * exposureSeconds, topAdu };
    const frame = await exposeTuned(bench, at, "flat", signal);
    const { pixelsAdu, widthPx, heightPx } = frame;
    const unhealthyPx = readUnhealthyPixels(bench, pixelsAdu.length);
    steps.push({
      exposureSeconds: frame.exposureSeconds,
      seconds: elapsedSeconds(),
      levels: blockLevels(
        pixelsAdu,
        dark!.meanAdu,
        { widthPx, heightPx },
        { topAdu, ...given({ unhealthyPx }) },
      ),
    });
    bench.rig.camera.giveBack(pixelsAdu);
    bench.progress({ what: "frames for the sensor's response", done: steps.length, of: ladder.length });
    signal.throwIfAborted();
  }
  return steps;
}
