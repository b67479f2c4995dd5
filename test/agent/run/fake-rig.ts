import type { ConnectedRig } from "../../../agent/run/checks/connect-rig-file.ts";
import type { Clock } from "../../../drivers/kit/clock.ts";
import { DeviceLostError } from "../../../drivers/kit/errors.ts";
import { RigSeal } from "../../../drivers/kit/seal.ts";
import type { Camera, SetupInForce } from "../../../drivers/roles/camera.ts";
import type { Cover, CoverState } from "../../../drivers/roles/cover.ts";
import type { Device, Setting, SettingValue } from "../../../drivers/roles/device.ts";
import type { Dome } from "../../../drivers/roles/dome.ts";
import type { Focuser } from "../../../drivers/roles/focuser.ts";
import { type ForeignCommands, noForeignCommands } from "../../../drivers/roles/foreign-commands.ts";
import type { Equatorial, Mount } from "../../../drivers/roles/mount.ts";
import type { Rig } from "../../../drivers/roles/rig.ts";
import type { RoleName } from "../../../drivers/roles/roles.ts";
import type { Rotator } from "../../../drivers/roles/rotator.ts";
import type { Weather } from "../../../drivers/roles/weather.ts";
import type { Wheel } from "../../../drivers/roles/wheel.ts";

/** A process that talks to the rig; once it is dead nothing reaches it any more, while the rig itself goes on. */
export class Life {
  alive = true;
  readonly dies = Promise.withResolvers<"killed">();

  kill(): void {
    this.alive = false;
    this.dies.resolve("killed");
  }

  async while<T>(work: () => Promise<T>): Promise<T> {
    const never = new Promise<never>(() => {});
    if (!this.alive) return never;
    try {
      const result = await work();
      return this.alive ? result : await never;
    } catch (error) {
      return this.alive ? Promise.reject(error) : never;
    }
  }
}

/** A rig of plain values that survives its "process": what is set stays set, each change takes time and is told. */
export class FakeRig {
  readonly told: string[] = [];
  #foundConnected: ReadonlyMap<RoleName, boolean> = new Map();
  /** Device → settings, the truth. */
  readonly truth = new Map<RoleName, Map<string, SettingValue>>();
  weather: "safe" | "warning" | "unsafe" | "unknown" = "safe";
  /** Devices that do not answer. */
  readonly silent = new Set<RoleName>();
  /** What somebody else commanded, where a test says so before the rig is opened. */
  readonly foreign = new Map<RoleName, ForeignCommands>();
  /** Settings, as `role.key`, that refuse to change. */
  readonly stuck = new Set<string>();
  /** Called after each change; a test may throw from it to play a crash. */
  afterChange: (what: string) => void = () => {};

  constructor(readonly clock: Clock) {
    this.#put("camera", { gain: 120, offset: 10, binning: 2, region: [0, 0, 640, 480], connected: false });
    this.#put("mount", { pointing: [3.1, 12], tracking: false, parked: true, connected: true });
    this.#put("cover", { position: "closed", light: "off", connected: true });
    this.#put("diffuser", { position: "open", connected: true });
    this.#put("focuser", { position: 9000, connected: true });
    this.#put("wheel", { slot: 2, connected: true });
    this.#put("rotator", { angle: 30, connected: true });
    this.#put("dome", { azimuth: 90, shutter: "open", parked: false, connected: true });
    this.#put("weather", { connected: true });
  }

  #put(role: RoleName, settings: Record<string, SettingValue>): void {
    this.truth.set(role, new Map(Object.entries(settings)));
  }

  get(role: RoleName, key: string): SettingValue {
    return this.truth.get(role)!.get(key)!;
  }

  async set(role: RoleName, key: string, value: SettingValue, seconds = 1): Promise<void> {
    this.#answer(role);
    if (same(this.get(role, key), value)) return;
    await this.clock.sleep(seconds);
    this.#answer(role);
    if (this.stuck.has(`${role}.${key}`) || same(this.get(role, key), value)) return;
    this.truth.get(role)!.set(key, value);
    this.told.push(`${role}.${key} = ${String(value)}`);
    this.afterChange(`${role}.${key}`);
  }

  /** A command that nobody waits for. */
  #sent(role: RoleName, key: string, value: SettingValue, seconds?: number): void {
    this.#answer(role);
    void this.set(role, key, value, seconds).catch(() => {});
  }

  #answer(role: RoleName): void {
    if (this.silent.has(role)) throw new DeviceLostError(`Fake ${role}`, "does not answer");
  }

  account(): Record<string, Record<string, SettingValue>> {
    return structuredClone(
      Object.fromEntries([...this.truth].map(([role, s]) => [role, Object.fromEntries(s)])),
    );
  }

  /** Connects every device, as drivers do it: what was found is told first, and disposing puts it back. */
  async connect(
    found: (role: RoleName, device: string, connected: boolean) => void = () => {},
    life = new Life(),
  ): Promise<ConnectedRig> {
    const before = new Map<RoleName, boolean>();
    for (const role of this.truth.keys()) {
      const connected = this.get(role, "connected") === true;
      before.set(role, connected);
      found(role, `Fake ${role}`, connected);
      await life.while(() => this.set(role, "connected", true));
    }
    const rig = this.open(life, before);
    const dispose = async () => {
      for (const [role, connected] of before) {
        if (!connected) await life.while(() => this.set(role, "connected", false));
      }
    };
    return { rig, seal: new RigSeal(), leftConnected: () => [], [Symbol.asyncDispose]: dispose };
  }

  /** The rig as one process sees it. */
  open(life = new Life(), foundConnected: ReadonlyMap<RoleName, boolean> = new Map()): Rig {
    this.#foundConnected = foundConnected;
    return Object.fromEntries(
      Object.entries(this.#open()).map(([role, device]) => [role, mortal(device as object, life)]),
    ) as unknown as Rig;
  }

  #open(): Rig {
    const position = (role: "cover" | "diffuser"): Cover => ({
      ...this.#device(role),
      role,
      state: async () => {
        this.#answer(role);
        return this.get(role, "position") as CoverState;
      },
      ensureClosed: () => this.set(role, "position", "closed", 5),
      ensureOpen: () => this.set(role, "position", "open", 5),
      sendClose: async () => this.#sent(role, "position", "closed", 5),
    });
    const stop = (role: RoleName) => async () => {
      this.#answer(role);
      this.told.push(`${role} stops`);
    };
    const camera: Camera = {
      ...this.#device("camera"),
      role: "camera",
      limits: {
        exposureSeconds: { min: 0.0001, max: 100 },
        gain: { min: 0, max: 400 },
        offset: { min: 0, max: 100 },
        binning: { min: 1, max: 4 },
        sensorPx: { widthPx: 640, heightPx: 480 },
        pixelMicron: 3.75,
        fullScaleAdu: 65535,
      },
      setup: async () => this.#setup(),
      configure: async ({ gain }) => {
        if (gain !== undefined) await this.set("camera", "gain", gain);
        return this.#setup();
      },
      giveBack: () => {},
      expose: () => Promise.reject(new Error("not in this fake")),
      ensureStopped: stop("camera"),
      sendStop: stop("camera"),
    };
    const mount: Mount = {
      ...this.#device("mount"),
      role: "mount",
      abilities: { park: true, sync: true, solarRate: true, nudge: "slew" },
      state: async () => {
        this.#answer("mount");
        const [raHours, decDegrees] = this.get("mount", "pointing") as readonly [number, number];
        const tracking = this.get("mount", "tracking") === true;
        const parked = this.get("mount", "parked") === true;
        return { pointing: { raHours, decDegrees }, motion: "still", tracking, trackRate: "solar", parked };
      },
      pierSide: async () => undefined,
      siteAndTime: async () => ({ site: undefined, utcMs: undefined, siderealHours: undefined }),
      ensureUnparked: () => this.set("mount", "parked", false, 2),
      ensureParked: () => this.set("mount", "parked", true, 20),
      ensureTracking: () => this.set("mount", "tracking", true),
      ensureTrackingOff: () => this.set("mount", "tracking", false),
      slewTo: (to: Equatorial) => this.set("mount", "pointing", [to.raHours, to.decDegrees], 20),
      syncTo: () => Promise.reject(new Error("not in this fake")),
      nudge: () => Promise.reject(new Error("not in this fake")),
      ensureStopped: stop("mount"),
      sendStop: stop("mount"),
      sendTrackingOff: async () => this.#sent("mount", "tracking", false),
    };
    const focuser: Focuser = {
      ...this.#device("focuser"),
      role: "focuser",
      limits: { positionSteps: { min: 0, max: 20000 } },
      positionSteps: async () => Number(this.get("focuser", "position")),
      moveTo: (steps) => this.set("focuser", "position", steps, 10),
      ensureStopped: stop("focuser"),
    };
    const wheel: Wheel = {
      ...this.#device("wheel"),
      role: "wheel",
      slotNames: ["a", "b", "c"],
      slot: async () => Number(this.get("wheel", "slot")),
      moveTo: (slot) => this.set("wheel", "slot", slot, 3),
    };
    const rotator: Rotator = {
      ...this.#device("rotator"),
      role: "rotator",
      angleDegrees: async () => Number(this.get("rotator", "angle")),
      moveTo: (angle) => this.set("rotator", "angle", angle, 5),
      ensureStopped: stop("rotator"),
    };
    const dome: Dome = {
      ...this.#device("dome"),
      role: "dome",
      abilities: { shutter: true, azimuth: true, park: true },
      state: async () => {
        this.#answer("dome");
        return {
          shutter: this.get("dome", "shutter") as "open",
          azimuthDegrees: Number(this.get("dome", "azimuth")),
          parked: this.get("dome", "parked") === true,
          moving: false,
        };
      },
      ensureShutterOpen: () => this.set("dome", "shutter", "open", 20),
      ensureShutterClosed: () => this.set("dome", "shutter", "closed", 20),
      turnTo: (azimuth) => this.set("dome", "azimuth", azimuth, 20),
      ensureUnparked: () => this.set("dome", "parked", false),
      ensureStopped: stop("dome"),
    };
    const weather: Weather = {
      ...this.#device("weather"),
      role: "weather",
      state: async () => {
        this.#answer("weather");
        return { safety: this.weather, reasons: this.weather === "safe" ? [] : ["rain"], readings: {} };
      },
    };
    const diffuser = position("diffuser");
    return { camera, mount, cover: position("cover"), diffuser, focuser, wheel, rotator, dome, weather };
  }

  #setup(): SetupInForce {
    const [xPx, yPx, widthPx, heightPx] = this.get("camera", "region") as [number, number, number, number];
    const [gain, offset, binning] = ["gain", "offset", "binning"].map((key) =>
      Number(this.get("camera", key)),
    );
    return { gain: gain!, offset: offset!, binning: binning!, region: { xPx, yPx, widthPx, heightPx } };
  }

  #device(role: RoleName): Omit<Device, "role"> {
    return {
      name: `Fake ${role}`,
      readSettings: async () => {
        this.#answer(role);
        await this.clock.sleep(0.1);
        const found = this.#foundConnected.get(role) ?? true;
        return [...this.truth.get(role)!].map(([key, value]) => ({
          key,
          value: key === "connected" ? value === true && found : structuredClone(value),
        }));
      },
      restoreSetting: async ({ key, value }: Setting) => {
        await this.set(role, key, value, role === "mount" ? 10 : 1);
      },
      sameSetting: (before, now) => before.key === now.key && same(before.value, now.value),
      roundTripSeconds: 0.01,
      foreignCommands: this.foreign.get(role) ?? noForeignCommands,
      isAlive: async () => !this.silent.has(role),
      describe: () => ({ fake: "yes" }),
      async [Symbol.asyncDispose]() {},
    };
  }
}

/** Every asynchronous member of a device dies with the process. */
function mortal(device: object, life: Life): object {
  return new Proxy(device, {
    get(target, key, receiver) {
      const member: unknown = Reflect.get(target, key, receiver);
      if (typeof member !== "function" || key === "sameSetting" || key === "describe") return member;
      return (...given: unknown[]) =>
        life.while(async () => (member as (...g: unknown[]) => unknown).apply(target, given));
    },
  });
}

function same(a: SettingValue, b: SettingValue): boolean {
  return JSON.stringify(a) === JSON.stringify(b);
}
