import type { FitsPixels } from "../../../drivers/formats/fits-pixels.ts";
import { encodeFits } from "../../../drivers/formats/fits-write.ts";
import { recording, type ScriptedServer } from "./scripted-server.ts";

export const cameraName = "CCD Simulator";

export interface FrameFacts {
  readonly exposureSeconds: number;
  readonly startedUtcMs: number;
  readonly widthPx?: number;
  readonly heightPx?: number;
  readonly pixels?: FitsPixels;
  readonly gain?: number;
}

/** The recorded camera: Busy at once, a last Busy with 0 left, the image, then Ok. Small frames. */
export class ScriptedCamera {
  exposures = 0;
  /** Replace to misbehave. */
  onExposure = (seconds: number) => this.normally(seconds);
  #running = 0;

  constructor(
    readonly server: ScriptedServer,
    options: { version?: "1.9.9" | "2.2.4"; without?: readonly string[] } = {},
  ) {
    server.load(recording(`ccd-connect-${options.version ?? "1.9.9"}.xml`), {
      without: options.without ?? [],
    });
    if (server.has(cameraName, "CCD_FRAME"))
      server.remember(cameraName, "CCD_FRAME", { X: "0", Y: "0", WIDTH: "64", HEIGHT: "48" });
    server.on("CCD_EXPOSURE", ({ values }) => {
      this.exposures++;
      this.onExposure(Number(values.CCD_EXPOSURE_VALUE));
    });
    server.on("CCD_ABORT_EXPOSURE", () => this.abort());
  }

  get stillRunning(): number {
    return this.#running;
  }

  normally(seconds: number): void {
    const run = ++this.#running;
    const startedUtcMs = this.server.clock.nowMs();
    this.state("Busy", seconds);
    this.server.after(seconds, () => {
      if (run !== this.#running) return;
      this.state("Busy", 0);
      this.image({ exposureSeconds: seconds, startedUtcMs });
      this.state("Ok", 0);
    });
  }

  abort(): void {
    this.#running++;
    this.server.set(cameraName, "CCD_ABORT_EXPOSURE", "Ok", { ABORT: "Off" });
    this.state("Idle", 0);
  }

  state(state: string, left: number): void {
    this.server.set(cameraName, "CCD_EXPOSURE", state, { CCD_EXPOSURE_VALUE: String(left) });
  }

  image(facts: FrameFacts): void {
    const frame = this.server.values(cameraName, "CCD_FRAME");
    const bin = Number(this.server.values(cameraName, "CCD_BINNING").HOR_BIN ?? 1);
    const widthPx = facts.widthPx ?? Math.floor(Number(frame.WIDTH) / bin);
    const heightPx = facts.heightPx ?? Math.floor(Number(frame.HEIGHT) / bin);
    this.server.blob(cameraName, "CCD1", fitsBytes({ ...facts, widthPx, heightPx }));
  }
}

export function fitsBytes(facts: FrameFacts & { widthPx: number; heightPx: number }): Uint8Array {
  const pixels =
    facts.pixels ?? new Uint16Array(facts.widthPx * facts.heightPx).map((_, i) => (i * 7) % 65536);
  const cards = [
    { keyword: "EXPTIME", value: facts.exposureSeconds },
    { keyword: "DATE-OBS", value: new Date(facts.startedUtcMs).toISOString().slice(0, 23) },
    ...(facts.gain === undefined ? [] : [{ keyword: "GAIN", value: facts.gain }]),
  ];
  return encodeFits([{ pixels, shape: [facts.heightPx, facts.widthPx], cards }], facts.startedUtcMs);
}
