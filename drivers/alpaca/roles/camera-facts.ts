import { resolveAll } from "../../kit/resolve-all.ts";
import type { Range } from "../../roles/device.ts";
import type { AlpacaDevice } from "../session/device.ts";
import { flag, number, text, texts, whole } from "../wire/values.ts";

/** What a camera says of itself once it is connected. */
export interface CameraFacts {
  readonly widthPx: number;
  readonly heightPx: number;
  readonly pixelMicron: number;
  readonly binningMax: number;
  readonly exposureSeconds: Range;
  /** The largest count that it can deliver. */
  readonly maxAdu: number;
  readonly sensorName: string;
  /** 0 is monochrome; undefined: it does not say. */
  readonly sensorType: number | undefined;
  /** By how much the filter array's pattern is shifted on the sensor [px]; 0, 0 where there is none. */
  readonly bayerOffsetPx: { readonly x: number; readonly y: number };
  readonly gain: ControlFacts | undefined;
  readonly offset: ControlFacts | undefined;
  readonly canAbort: boolean;
  readonly canStop: boolean;
  readonly canHoldCelsius: boolean;
  readonly hasCooler: boolean;
  readonly hasThermometer: boolean;
  readonly hasShutter: boolean;
}

/** Gain and offset are a value between two limits, or the index into a list of names; a camera has one way. */
export interface ControlFacts {
  readonly range: Range;
  readonly names: readonly string[] | undefined;
}

/** @throws DeviceLostError, DeadlineError, AscomError when a member that every camera must have fails */
export async function readCameraFacts(device: AlpacaDevice, signal: AbortSignal): Promise<CameraFacts> {
  const must = (member: string) => device.get(member, number, signal);
  const may = (member: string) => device.optional(member, number, signal);
  const can = (member: string) => device.can(member, signal);
  const { binX, binY, step, ...facts } = await resolveAll({
    widthPx: must("cameraxsize"),
    heightPx: must("cameraysize"),
    pixelMicron: may("pixelsizex"),
    binX: may("maxbinx"),
    binY: may("maxbiny"),
    min: may("exposuremin"),
    max: may("exposuremax"),
    step: may("exposureresolution"),
    maxAdu: may("maxadu"),
    sensorName: device.optional("sensorname", text, signal),
    gain: readControl(device, "gain", signal),
    offset: readControl(device, "offset", signal),
    mosaic: readMosaic(device, signal),
    canAbort: can("canabortexposure"),
    canStop: can("canstopexposure"),
    canHoldCelsius: can("cansetccdtemperature"),
    coolerOn: device.optional("cooleron", flag, signal),
    celsius: may("ccdtemperature"),
    hasShutter: can("hasshutter"),
  });
  const { pixelMicron = Number.NaN, maxAdu = 65535, sensorName = "", min = 0, max = 3600 } = facts;
  const { mosaic, coolerOn, celsius, ...others } = facts;
  return {
    ...others,
    ...mosaic,
    pixelMicron,
    binningMax: Math.min(binX ?? 1, binY ?? binX ?? 1),
    exposureSeconds: { min, max, ...(step !== undefined && step > 0 ? { step } : {}) },
    maxAdu,
    sensorName,
    hasCooler: coolerOn !== undefined,
    hasThermometer: celsius !== undefined,
  };
}

async function readMosaic(
  device: AlpacaDevice,
  signal: AbortSignal,
): Promise<Pick<CameraFacts, "sensorType" | "bayerOffsetPx">> {
  const sensorType = await device.optional("sensortype", number, signal);
  if (sensorType === undefined || sensorType < 2) return { sensorType, bayerOffsetPx: { x: 0, y: 0 } };
  const offset = async (member: string) => (await device.optional(member, number, signal)) ?? 0;
  return {
    sensorType,
    bayerOffsetPx: await resolveAll({ x: offset("bayeroffsetx"), y: offset("bayeroffsety") }),
  };
}

async function readControl(
  device: AlpacaDevice,
  member: "gain" | "offset",
  signal: AbortSignal,
): Promise<ControlFacts | undefined> {
  if ((await device.optional(member, whole, signal)) === undefined) return undefined;
  const { names, min, max } = await resolveAll({
    names: device.optional(`${member}s`, texts, signal),
    min: device.optional(`${member}min`, whole, signal),
    max: device.optional(`${member}max`, whole, signal),
  });
  if (names && names.length > 0) return { range: { min: 0, max: names.length - 1, step: 1 }, names };
  if (min === undefined || max === undefined) return undefined; // readable, and no way to know what may be set
  return { range: { min, max, step: 1 }, names: undefined };
}
