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
  const binX = (await may("maxbinx")) ?? 1;
  const binY = (await may("maxbiny")) ?? binX;
  const step = (await may("exposureresolution")) ?? 0;
  const sensorType = await may("sensortype");
  const isMosaic = (sensorType ?? 0) >= 2;
  return {
    widthPx: await must("cameraxsize"),
    heightPx: await must("cameraysize"),
    pixelMicron: (await may("pixelsizex")) ?? Number.NaN,
    binningMax: Math.min(binX, binY),
    exposureSeconds: {
      min: (await may("exposuremin")) ?? 0,
      max: (await may("exposuremax")) ?? 3600,
      ...(step > 0 ? { step } : {}),
    },
    maxAdu: (await may("maxadu")) ?? 65535,
    sensorName: (await device.optional("sensorname", text, signal)) ?? "",
    sensorType,
    bayerOffsetPx: {
      x: (isMosaic && (await may("bayeroffsetx"))) || 0,
      y: (isMosaic && (await may("bayeroffsety"))) || 0,
    },
    gain: await readControl(device, "gain", signal),
    offset: await readControl(device, "offset", signal),
    canAbort: await can("canabortexposure"),
    canStop: await can("canstopexposure"),
    canHoldCelsius: await can("cansetccdtemperature"),
    hasCooler: (await device.optional("cooleron", flag, signal)) !== undefined,
    hasThermometer: (await may("ccdtemperature")) !== undefined,
    hasShutter: await can("hasshutter"),
  };
}

async function readControl(
  device: AlpacaDevice,
  member: "gain" | "offset",
  signal: AbortSignal,
): Promise<ControlFacts | undefined> {
  if ((await device.optional(member, whole, signal)) === undefined) return undefined;
  const names = await device.optional(`${member}s`, texts, signal);
  if (names && names.length > 0) return { range: { min: 0, max: names.length - 1, step: 1 }, names };
  const min = await device.optional(`${member}min`, whole, signal);
  const max = await device.optional(`${member}max`, whole, signal);
  if (min === undefined || max === undefined) return undefined; // readable, and no way to know what may be set
  return { range: { min, max, step: 1 }, names: undefined };
}
