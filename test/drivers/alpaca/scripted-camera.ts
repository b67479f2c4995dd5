import type { Clock } from "../../../drivers/kit/clock.ts";
import { imageBytes } from "./image-encoding.ts";
import { absent, constant, Fault, kept, type Member, type ScriptedAlpaca } from "./scripted-alpaca.ts";

export const cameraName = "Test Camera";

export interface CameraScript {
  readonly version?: number;
  /** `index`: a list of names; `none`: no gain at all. */
  readonly gainBy?: "value" | "index" | "none";
  readonly canAbort?: boolean;
  readonly readoutSeconds?: number;
  /** Optional members that it does without. */
  readonly without?: readonly string[];
  readonly connected?: boolean;
  /** Changing the binning leaves the subframe's numbers as they are, as the standard has it. */
  readonly elementType?: number;
  /** Default: monochrome. */
  readonly sensorType?: number;
  /** Default: 0, 0 of a mosaic; a monochrome camera has none. */
  readonly bayerOffset?: readonly [number, number];
}

const sensor = { width: 64, height: 48 };

/** A camera from the description: 64 x 48 px, wider than high so that a turned image shows. */
export class ScriptedCamera {
  exposures = 0;
  aborts = 0;
  lastLight: boolean | undefined;
  /** What the next exposure does instead of becoming ready. */
  fate: "fine" | "error" | "forgotten" | "stale" = "fine";
  readonly connection: { connected: boolean };
  #startedMs: number | undefined;
  #durationSeconds = 0;
  #shown: { startMs: number; seconds: number; rows: number[][] } | undefined;
  readonly #clock: Clock;
  readonly #readoutSeconds: number;
  readonly frame: Record<"binx" | "biny" | "startx" | "starty" | "numx" | "numy", Member>;

  constructor(server: ScriptedAlpaca, clock: Clock, script: CameraScript = {}) {
    this.#clock = clock;
    this.#readoutSeconds = script.readoutSeconds ?? 0.3;
    this.frame = {
      binx: kept("BinX", 1, between(1, 4)),
      biny: kept("BinY", 1, between(1, 4)),
      startx: kept("StartX", 0),
      starty: kept("StartY", 0),
      numx: kept("NumX", sensor.width),
      numy: kept("NumY", sensor.height),
    };
    const members: Record<string, Member> = {
      ...this.frame,
      cameraxsize: constant(sensor.width),
      cameraysize: constant(sensor.height),
      pixelsizex: constant(3.76),
      pixelsizey: constant(3.76),
      maxbinx: constant(4),
      maxbiny: constant(4),
      exposuremin: constant(0),
      exposuremax: constant(600),
      exposureresolution: constant(0),
      maxadu: constant(65535),
      sensortype: constant(script.sensorType ?? 0),
      ...((script.sensorType ?? 0) >= 2 && {
        bayeroffsetx: constant(script.bayerOffset?.[0] ?? 0),
        bayeroffsety: constant(script.bayerOffset?.[1] ?? 0),
      }),
      sensorname: constant("made up"),
      ...gainMembers(script.gainBy ?? "value"),
      offset: kept("Offset", 10, between(0, 200)),
      offsetmin: constant(0),
      offsetmax: constant(200),
      canabortexposure: constant(script.canAbort ?? true),
      canstopexposure: constant(false),
      cansetccdtemperature: constant(true),
      ccdtemperature: constant(4.5),
      setccdtemperature: kept("SetCCDTemperature", 0),
      cooleron: kept("CoolerOn", false),
      hasshutter: constant(false),
      camerastate: { get: () => this.#state() },
      imageready: { get: () => this.#ready() },
      imagearray: { get: () => this.#image(script.elementType ?? 8) },
      lastexposureduration: { get: () => this.#last().seconds },
      lastexposurestarttime: { get: () => new Date(this.#last().startMs).toISOString().slice(0, 23) },
      startexposure: { put: (form) => this.#start(form) },
      abortexposure: {
        put: () => {
          this.aborts++;
          this.#startedMs = undefined;
        },
      },
    };
    for (const member of script.without ?? []) members[member] = { get: absent, put: absent };
    this.connection = server.add("Camera", cameraName, members, {
      version: script.version ?? 3,
      connected: script.connected ?? true,
    });
  }

  /** As after a power cycle or a restart of the server. */
  forget(): void {
    this.#startedMs = undefined;
    this.#shown = undefined;
    for (const [member, value] of [
      ["binx", 1],
      ["biny", 1],
      ["startx", 0],
      ["starty", 0],
      ["numx", sensor.width],
      ["numy", sensor.height],
    ] as const) {
      const parameter = {
        binx: "BinX",
        biny: "BinY",
        startx: "StartX",
        starty: "StartY",
        numx: "NumX",
        numy: "NumY",
      };
      this.frame[member].put!(new URLSearchParams({ [parameter[member]]: String(value) }));
    }
  }

  #value(member: keyof ScriptedCamera["frame"]): number {
    return this.frame[member].get!(new URLSearchParams()) as number;
  }

  #start(form: URLSearchParams): void {
    const bin = this.#value("binx");
    const inside = (start: number, size: number, whole: number) => start + size <= Math.floor(whole / bin);
    const { width, height } = sensor;
    if (
      !inside(this.#value("startx"), this.#value("numx"), width) ||
      !inside(this.#value("starty"), this.#value("numy"), height)
    ) {
      throw new Fault(0x401, "the subframe does not fit");
    }
    if (this.#state() !== 0) throw new Fault(0x40b, "an exposure is under way");
    this.exposures++;
    this.lastLight = form.get("Light") === "True";
    this.#durationSeconds = Number(form.get("Duration"));
    this.#startedMs = this.#clock.nowMs();
    if (this.fate === "forgotten") this.#startedMs = undefined;
  }

  #elapsedSeconds(): number {
    return (this.#clock.nowMs() - this.#startedMs!) / 1000;
  }

  #state(): number {
    if (this.#startedMs === undefined) return 0;
    if (this.#elapsedSeconds() < this.#durationSeconds) return 2;
    if (this.fate === "error") return 5;
    if (this.#elapsedSeconds() < this.#durationSeconds + this.#readoutSeconds) return 3;
    this.#finish();
    return 0;
  }

  #ready(): boolean {
    if (this.fate === "stale" && this.#shown) return true; // still the frame before
    if (this.#startedMs === undefined) return this.#shown !== undefined && this.fate !== "forgotten";
    return this.#state() === 0;
  }

  /** Pixel (x, y) of exposure n holds n · 1000 + 100 · y + x, modulo 65536. */
  #finish(): void {
    const [width, height] = [this.#value("numx"), this.#value("numy")];
    const rows = Array.from({ length: height }, (_, y) =>
      Array.from({ length: width }, (__, x) => (this.exposures * 1000 + 100 * y + x) % 65536),
    );
    this.#shown = { startMs: this.#startedMs!, seconds: this.#durationSeconds, rows };
    this.#startedMs = undefined;
  }

  #last() {
    if (!this.#shown) throw new Fault(0x40b, "no image yet");
    return this.#shown;
  }

  #image(type: number): Uint8Array {
    return imageBytes(this.#last().rows, type);
  }
}

function gainMembers(by: "value" | "index" | "none"): Record<string, Member> {
  if (by === "none") return {};
  if (by === "index")
    return { gain: kept("Gain", 0, between(0, 2)), gains: constant(["low", "medium", "high"]) };
  return { gain: kept("Gain", 90, between(0, 400)), gainmin: constant(0), gainmax: constant(400) };
}

function between(min: number, max: number) {
  return (value: number) => {
    if (!(value >= min && value <= max)) throw new Fault(0x401, `${value} is not from ${min} to ${max}`);
  };
}
