import type { FitsHeader } from "../../drivers/formats/fits-header.ts";

/** Where a frame begins on its sensor, in pixels as binned. */
export interface SensorOrigin {
  readonly x: number;
  readonly y: number;
}

/**
 * From the first pixel of CCDSEC or DETSEC, which count from 1 in pixels of the sensor, else from XORGSUBF and YORGSUBF, which count
 * from 0. `undefined` where the header says nothing, or something of a binned frame that programs mean in two ways.
 */
export function sensorOrigin(header: FitsHeader): SensorOrigin | undefined {
  const [binX, binY] = binningOf(header);
  const section = /^\s*\[(\d+):\d+,\s*(\d+):\d+\]/.exec(header.text("CCDSEC") ?? header.text("DETSEC") ?? "");
  if (section) return { x: (Number(section[1]) - 1) / binX, y: (Number(section[2]) - 1) / binY };
  const [x, y] = [header.number("XORGSUBF"), header.number("YORGSUBF")];
  if (x === undefined || y === undefined) return undefined;
  // Some count pixels as binned, some those of the sensor.
  const isPlain = (binX === 1 && binY === 1) || (x === 0 && y === 0);
  return isPlain ? { x, y } : undefined;
}

function binningOf(header: FitsHeader): [number, number] {
  const sum = /^\s*(\d+)[\s,]+(\d+)/.exec(header.text("CCDSUM") ?? "");
  const x = header.number("XBINNING") ?? Number(sum?.[1] ?? 1);
  return [x, header.number("YBINNING") ?? Number(sum?.[2] ?? x)];
}
