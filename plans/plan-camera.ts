import type * as z from "zod";
import { mapOf, numberFrom, wholeFrom } from "./fields.ts";

const place = wholeFrom(0, 100_000, "px");
const side = wholeFrom(8, 100_000, "px");

/** What the day's images are taken with, so that flats and darks go through the same readout. */
export const planCamera = mapOf({
  gain: numberFrom(0, 1_000_000)
    .optional()
    .describe("In the driver's own units; left out, the lowest, at which a pixel holds most light."),
  offset: numberFrom(0, 1_000_000)
    .optional()
    .describe("In the driver's own units; left out, as it is found."),
  binning: wholeFrom(1, 16).optional().describe("Left out, as it is found."),
  region: mapOf({
    xPx: place.describe("Left edge."),
    yPx: place.describe("Upper edge."),
    widthPx: side.describe("Width."),
    heightPx: side.describe("Height."),
  })
    .optional()
    .describe("The part of the sensor that is read out, in unbinned pixels; left out, as it is found."),
  sensorCelsius: numberFrom(-100, 50, "degrees Celsius")
    .optional()
    .describe("What the cooler holds; it is waited for. Left out, the cooler stays as it is found."),
}).describe(
  "The day's settings: flats, darks and images of this plan are all taken with them. They are put back at the end.",
);

export type PlanCamera = z.infer<typeof planCamera>;
