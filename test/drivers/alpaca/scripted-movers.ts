import type { Clock } from "../../../drivers/kit/clock.ts";
import { absent, constant, Fault, kept, type Members, type ScriptedAlpaca } from "./scripted-alpaca.ts";

/** Something that takes time from one value to another. */
class Travel {
  #from: number;
  #to: number;
  #startMs = 0;
  #seconds = 0;

  constructor(
    readonly clock: Clock,
    start: number,
  ) {
    this.#from = start;
    this.#to = start;
  }

  go(to: number, seconds: number): void {
    this.#from = this.value;
    this.#to = to;
    this.#startMs = this.clock.nowMs();
    this.#seconds = seconds;
  }

  halt(): void {
    this.go(this.value, 0);
  }

  get moving(): boolean {
    return this.clock.nowMs() - this.#startMs < this.#seconds * 1000;
  }

  get value(): number {
    if (!this.moving) return this.#to;
    const part = (this.clock.nowMs() - this.#startMs) / 1000 / this.#seconds;
    return this.#from + (this.#to - this.#from) * part;
  }
}

export interface CoverTruth {
  status: number;
  light: number;
  /** Where the next motion ends. */
  endsIn?: number;
  commands: string[];
  /** Sends it there as nobody's command from here. */
  go(to: number): void;
}

/** CoverStatus 1 closed, 2 moving, 3 open, 4 unknown, 5 error; 4 s for one way. */
export function addCover(
  far: ScriptedAlpaca,
  clock: Clock,
  name: string,
  options: { status?: number; light?: boolean } = {},
) {
  const truth: CoverTruth = { status: options.status ?? 1, light: 0, commands: [], go: move };
  let movingUntilMs = 0;
  let target = truth.status;
  function move(to: number): void {
    target = to;
    movingUntilMs = clock.nowMs() + 4000;
  }
  const status = () => {
    if (clock.nowMs() < movingUntilMs) return 2;
    if (movingUntilMs > 0) {
      truth.status = truth.endsIn ?? target;
      movingUntilMs = 0;
      delete truth.endsIn;
    }
    return truth.status;
  };
  const go = (to: number, command: string) => ({
    put: () => {
      truth.commands.push(command);
      move(to);
    },
  });
  const light: Members =
    options.light === true
      ? {
          calibratorstate: { get: () => (truth.light > 0 ? 3 : 1) },
          maxbrightness: constant(100),
          brightness: { get: () => truth.light },
          calibratoron: {
            put: (form) => {
              truth.light = Number(form.get("Brightness"));
            },
          },
          calibratoroff: {
            put: () => {
              truth.commands.push("light off");
              truth.light = 0;
            },
          },
        }
      : { calibratorstate: constant(0) };
  far.add("CoverCalibrator", name, {
    coverstate: { get: status },
    opencover: go(3, "open"),
    closecover: go(1, "close"),
    ...light,
  });
  return truth;
}

export function addFocuser(
  far: ScriptedAlpaca,
  clock: Clock,
  name: string,
  options: { incrementMax?: number; canHalt?: boolean } = {},
) {
  const travel = new Travel(clock, 5000);
  const moves: number[] = [];
  const tempComp = kept("TempComp", true);
  far.add("Focuser", name, {
    absolute: constant(true),
    maxstep: constant(20_000),
    maxincrement: constant(options.incrementMax ?? 20_000),
    position: { get: () => Math.round(travel.value) },
    ismoving: { get: () => travel.moving },
    tempcompavailable: constant(true),
    tempcomp: tempComp,
    move: {
      put: (form) => {
        const to = Number(form.get("Position"));
        moves.push(to);
        if (Math.abs(to - travel.value) > (options.incrementMax ?? 20_000)) throw new Fault(0x401, "too far");
        travel.go(to, Math.abs(to - travel.value) / 500);
      },
    },
    halt: { put: options.canHalt === false ? absent : () => travel.halt() },
  });
  return { travel, moves, tempComp: () => tempComp.get!(new URLSearchParams()) };
}

export function addWheel(far: ScriptedAlpaca, clock: Clock, name: string) {
  const travel = new Travel(clock, 0);
  far.add("FilterWheel", name, {
    names: constant(["clear", "", "dark"]),
    position: {
      get: () => (travel.moving ? -1 : travel.value),
      put: (form) => travel.go(Number(form.get("Position")), 3),
    },
  });
  return travel;
}

export function addRotator(far: ScriptedAlpaca, clock: Clock, name: string) {
  const travel = new Travel(clock, 10);
  far.add("Rotator", name, {
    position: { get: () => Math.fround(travel.value) },
    ismoving: { get: () => travel.moving },
    moveabsolute: {
      put: (form) => {
        const to = Number(form.get("Position"));
        if (!(to >= 0 && to < 360)) throw new Fault(0x401, "0 to 360");
        travel.go(to, Math.abs(to - travel.value) / 5);
      },
    },
    halt: { put: () => travel.halt() },
  });
  return travel;
}

export function addDome(
  far: ScriptedAlpaca,
  clock: Clock,
  name: string,
  options: { slaved?: boolean; parked?: boolean } = {},
) {
  const azimuth = new Travel(clock, 90);
  const shutter = new Travel(clock, 1); // 1 is closed, 0 open
  const slaved = kept("Slaved", options.slaved ?? false);
  const truth = { parked: options.parked ?? false, azimuth, shutter, error: false };
  let opening = false;
  const isSlaved = () => slaved.get!(new URLSearchParams()) === true;
  far.add("Dome", name, {
    cansetshutter: constant(true),
    cansetazimuth: constant(true),
    canpark: constant(true),
    canslave: constant(true),
    slaved,
    shutterstatus: { get: () => (truth.error ? 4 : shutter.moving ? (opening ? 2 : 3) : shutter.value) },
    openshutter: {
      put: () => {
        opening = true;
        shutter.go(0, 20);
      },
    },
    closeshutter: {
      put: () => {
        opening = false;
        shutter.go(1, 20);
      },
    },
    azimuth: { get: () => azimuth.value },
    atpark: { get: () => truth.parked && !azimuth.moving },
    slewing: { get: () => azimuth.moving || shutter.moving },
    slewtoazimuth: {
      put: (form) => {
        if (isSlaved()) throw new Fault(0x409, "slaved");
        truth.parked = false;
        azimuth.go(Number(form.get("Azimuth")), 12);
      },
    },
    park: {
      put: () => {
        truth.parked = true;
        azimuth.go(180, 12);
      },
    },
    abortslew: { put: () => azimuth.halt() },
  });
  return truth;
}

export interface SwitchScript {
  readonly async?: boolean;
  readonly canWrite?: boolean;
}

/** Three switches, the second one moves something within 3 s. */
export function addSwitch(far: ScriptedAlpaca, clock: Clock, name: string, script: SwitchScript = {}) {
  const travel = new Travel(clock, 0);
  const names = ["Fan", "Diffuser", "Heater"];
  const id = (parameters: URLSearchParams) => {
    const value = Number(parameters.get("Id"));
    if (!(value >= 0 && value < names.length)) throw new Fault(0x401, "no such switch");
    return value;
  };
  const commands: string[] = [];
  const set = (member: string) => (form: URLSearchParams) => {
    commands.push(`${member} ${id(form)} ${form.get("Value")}`);
    travel.go(Number(form.get("Value")), 3);
  };
  far.add(
    "Switch",
    name,
    {
      maxswitch: constant(names.length),
      getswitchname: { get: (query) => names[id(query)] },
      canwrite: { get: (query) => id(query) === 1 && script.canWrite !== false },
      minswitchvalue: { get: (query) => id(query) * 0 },
      maxswitchvalue: { get: (query) => (id(query) === 1 ? 180 : 1) },
      switchstep: { get: (query) => id(query) * 0 + 1 },
      getswitchvalue: { get: (query) => (id(query) === 1 ? Math.round(travel.value) : 0) },
      setswitchvalue: { put: set("setswitchvalue") },
      ...(script.async === true
        ? {
            canasync: { get: (query: URLSearchParams) => id(query) === 1 },
            setasyncvalue: { put: set("setasyncvalue") },
            statechangecomplete: { get: (query: URLSearchParams) => id(query) !== 1 || !travel.moving },
          }
        : {}),
    },
    { version: script.async === true ? 3 : 2 },
  );
  return { travel, commands };
}
