import type { FitsHeader } from "../../drivers/formats/fits-header.ts";

/** Where a frame begins on its sensor, in pixels as binned. */
export interface SensorOrigin {
  readonly x: number;
  readonly y: number;
}

/**
 * From XORGSUBF and YORGSUBF, which count from 0 in pixels as binned, or the first pixel of CCDSEC or DETSEC, which count from 1
 * in pixels of the sensor. `undefined` where the header says nothing.
 */
export function sensorOrigin(header: FitsHeader): SensorOrigin | undefined {
  const [x, y] = [header.number("XORGSUBF"), header.number("YORGSUBF")];
  if (x !== undefined && y !== undefined) return { x, y };
  const section = /^\s*\[(\d+):\d+,\s*(\d+):\d+\]/.exec(header.text("CCDSEC") ?? header.text("DETSEC") ?? "");
  if (!section) return undefined;
  const [binX, binY] = binningOf(header);
  return { x: (Number(section[1]) - 1) / binX, y: (Number(section[2]) - 1) / binY };
}

function binningOf(header: FitsHeader): [number, number] {
  const sum = /^\s*(\d+)[\s,]+(\d+)/.exec(header.text("CCDSUM") ?? "");
  const x = header.number("XBINNING") ?? Number(sum?.[1] ?? 1);
  return [x, header.number("YBINNING") ?? Number(sum?.[2] ?? x)];
}
