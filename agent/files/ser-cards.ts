import type { Card } from "../../drivers/formats/fits-card.ts";
import { FitsHeader } from "../../drivers/formats/fits-header.ts";
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
    ...(header.filterPattern === undefined
      ? []
      : [
          {
            keyword: "BAYERPAT",
            value: header.filterPattern,
            comment: "colours of the filters, from the upper left",
          },
        ]),
    { keyword: "DATABITS", value: header.depthBits, comment: "bits of a captured value" },
  ];
}

/**
 * What is known of each frame by itself. The names of instruments are left out: they are of the recorder's making, and no two
 * programs' would agree.
 */
export function serFrameHeader(ser: SerFile): (frameIndex: number) => FitsHeader {
  const common = serCards(ser).filter(({ keyword }) => keyword !== "INSTRUME" && keyword !== "DATE-OBS");
  const stamps = ser.stampsTicks();
  return (frameIndex) => {
    const utcMs = stamps && utcMsOfTicks(stamps[frameIndex]!);
    const time = utcMs === undefined ? [] : [{ keyword: "DATE-OBS", value: utcText(utcMs), comment: "UTC" }];
    return new FitsHeader([...common, ...time]);
  };
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
