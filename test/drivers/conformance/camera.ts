import { describe, expect, test } from "vitest";
import { OutOfLimitsError } from "../../../drivers/kit/errors.ts";
import { type Adapter, calm, changedSettings, restoreAll } from "./rig-under-test.ts";

export function cameraConformance(adapter: Adapter): void {
  const { drive, timeoutMs } = adapter;
  const signal = calm();
  describe(`camera over ${adapter.name}`, () => {
    test(
      "declares sensible limits",
      () =>
        drive(async ({ rig: { camera } }) => {
          const { exposureSeconds, sensorPx, fullScaleAdu, pixelMicron, binning } = camera.limits;
          expect(exposureSeconds.min).toBeGreaterThan(0);
          expect(exposureSeconds.max).toBeGreaterThan(exposureSeconds.min);
          expect(sensorPx.widthPx * sensorPx.heightPx).toBeGreaterThan(0);
          expect(fullScaleAdu).toBeGreaterThanOrEqual(255);
          expect(fullScaleAdu).toBeLessThanOrEqual(65535);
          expect(pixelMicron).toBeGreaterThan(0);
          expect(binning.min).toBe(1);
        }),
      timeoutMs,
    );

    test(
      "frames of every type have the size of the region and the time asked for",
      () =>
        drive(async ({ rig: { camera }, clock }) => {
          const region = { xPx: 16, yPx: 32, widthPx: 64, heightPx: 48 };
          await camera.configure({ region, binning: 1 }, signal);
          for (const frameType of ["light", "dark", "flat", "bias"] as const) {
            const askedMs = clock.nowMs();
            const frame = await camera.expose({ exposureSeconds: 0.05, frameType }, signal);
            expect(frame).toMatchObject({ widthPx: 64, heightPx: 48, frameType });
            expect(frame.pixelsAdu).toHaveLength(64 * 48);
            if (frameType !== "bias") expect(frame.exposureSeconds).toBeCloseTo(0.05, 3);
            expect(frame.startedUtcMs).toBeGreaterThan(askedMs - 1100);
          }
        }),
      timeoutMs,
    );

    test(
      "frames follow each other, each newer than the last",
      () =>
        drive(async ({ rig: { camera } }) => {
          await camera.configure(
            { region: { xPx: 0, yPx: 0, widthPx: 32, heightPx: 32 }, binning: 1 },
            signal,
          );
          let last = 0;
          for (let i = 0; i < 4; i++) {
            const frame = await camera.expose({ exposureSeconds: 0.02, frameType: "light" }, signal);
            expect(frame.startedUtcMs).toBeGreaterThan(last);
            last = frame.startedUtcMs;
          }
        }),
      timeoutMs,
    );

    test(
      "binning halves the frame, the region stays in unbinned pixels",
      () =>
        drive(async ({ rig: { camera } }) => {
          if (camera.limits.binning.max < 2) return;
          const region = { xPx: 0, yPx: 0, widthPx: 64, heightPx: 32 };
          const set = await camera.configure({ binning: 2, region }, signal);
          expect(set).toMatchObject({ binning: 2, region });
          const frame = await camera.expose({ exposureSeconds: 0.05, frameType: "light" }, signal);
          expect(frame).toMatchObject({ widthPx: 32, heightPx: 16 });
        }),
      timeoutMs,
    );

    test(
      "gain and offset read back as set, and are put back with everything else",
      () =>
        drive(async ({ rig: { camera }, remember, isConnected }) => {
          const { gain, offset } = camera.limits;
          const checkTruth = await remember();
          const before = await camera.readSettings(signal);
          const setup = {
            ...(gain ? { gain: gain.min } : {}),
            ...(offset ? { offset: Math.min(30, offset.max) } : {}),
          };
          expect(
            await camera.configure(
              { ...setup, region: { xPx: 8, yPx: 8, widthPx: 40, heightPx: 24 } },
              signal,
            ),
          ).toMatchObject(setup);
          await camera.expose({ exposureSeconds: 0.05, frameType: "dark" }, signal);
          expect((await changedSettings(camera, before, signal)).length).toBeGreaterThan(0);
          await restoreAll(camera, before, { isConnected, checkTruth }, signal);
        }),
      timeoutMs,
    );

    test(
      "outside the limits nothing happens",
      () =>
        drive(async ({ rig: { camera }, remember }) => {
          const checkTruth = await remember();
          const { exposureSeconds, gain, sensorPx } = camera.limits;
          const tooLong = { exposureSeconds: exposureSeconds.max * 2, frameType: "light" } as const;
          await expect(camera.expose(tooLong, signal)).rejects.toBeInstanceOf(OutOfLimitsError);
          if (gain)
            await expect(camera.configure({ gain: gain.max + 1 }, signal)).rejects.toBeInstanceOf(
              OutOfLimitsError,
            );
          const region = { xPx: 0, yPx: 0, widthPx: sensorPx.widthPx + 2, heightPx: 8 };
          await expect(camera.configure({ region }, signal)).rejects.toBeInstanceOf(OutOfLimitsError);
          await checkTruth();
        }),
      timeoutMs,
    );

    test(
      "an abort ends the exposure soon, with its reason, and the next frame is a good one",
      () =>
        drive(async ({ rig: { camera }, clock }) => {
          await camera.configure(
            { region: { xPx: 0, yPx: 0, widthPx: 32, heightPx: 32 }, binning: 1 },
            signal,
          );
          const stop = new AbortController();
          const startMs = clock.nowMs();
          clock.setTimer(1, () => stop.abort(new Error("enough")));
          await expect(
            camera.expose({ exposureSeconds: 60, frameType: "light" }, stop.signal),
          ).rejects.toThrow("enough");
          expect(clock.nowMs() - startMs).toBeLessThan(20_000);
          const frame = await camera.expose({ exposureSeconds: 0.1, frameType: "light" }, signal);
          expect(frame.exposureSeconds).toBeCloseTo(0.1, 3);
          await camera.ensureStopped(signal);
          await camera.ensureStopped(signal);
        }),
      timeoutMs,
    );
  });
}
