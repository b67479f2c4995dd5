import type { Card } from "../../drivers/formats/fits-card.ts";
import { utcText } from "../../drivers/formats/fits-write.ts";
import { byteOrderOfFlag, utcMsOfTicks } from "../../drivers/formats/ser.ts";
import type { SerFile } from "../../drivers/formats/ser-file.ts";

/** A SER header's facts in the words of FITS. */
export function serCards(ser: SerFile): Card[] {
  const { header } = ser;
  const startMs = utcMsOfTicks(ser.stampsTicks()?.[0] ?? header.utcTicks);
  return [
    ...text("OBSERVER", header.observer),
    ...text("INSTRUME", header.instrument),
    ...text("TELESCOP", header.telescope),
    ...(startMs === undefined
      ? []
      : [{ keyword: "DATE-OBS", value: utcText(startMs), comment: "UTC, time of the first frame" }]),
    { keyword: "DATABITS", value: header.depthBits, comment: "bits of a captured value" },
  ];
}

function text(keyword: string, value: string): Card[] {
  const printable = value.replace(/[^\x20-\x7e]/g, "?");
  return printable === "" ? [] : [{ keyword, value: printable }];
}

export function serWarnings(ser: SerFile): string[] {
  const { header, path } = ser;
  return [
    ...(ser.frameCount === header.frameCount
      ? []
      : [
          `${path} says ${header.frameCount} frames and holds ${ser.frameCount} whole ones: it was broken off; these are used`,
        ]),
    ...(ser.bytesPerPixel === 1 || ser.byteOrder === byteOrderOfFlag(header.byteOrderFlag)
      ? []
      : [
          `${path} is read as ${ser.byteOrder}-endian, since only that makes a picture; its header says otherwise`,
        ]),
  ];
}
