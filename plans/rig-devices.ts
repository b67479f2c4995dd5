import * as z from "zod";
import { mapOf, numberFrom, parsePart, schemaInFile, textLine, wholeFrom } from "./fields.ts";

const server = textLine("a name under `servers`", 60).describe("Its name under `servers`.");
const device = textLine("the device's name as its server gives it", 100).describe(
  "Its name as the server gives it; `evenfield find` lists them.",
);

/** Where one protocol needs a word that the other does not know. */
export const keysOfOneProtocol = {
  gainProperty: "indi",
  offsetProperty: "indi",
  captureFormat: "indi",
  imageProperty: "indi",
  switch: "alpaca",
  closedValue: "alpaca",
  conditions: "alpaca",
  windMetresPerSecondMax: "alpaca",
  humidityPercentMax: "alpaca",
  cloudPercentMax: "alpaca",
} as const;

const driven = mapOf({
  server,
  device,
  travelSecondsMax: numberFrom(1, 300, "seconds").exactOptional().describe("Longest time for one way."),
  switch: z
    .union([textLine("a switch's name", 100), wholeFrom(0, 32767)], {
      error: "a switch's name, or its number from 0",
    })
    .exactOptional()
    .describe("Name or number of the switch that moves it, where the device is an Alpaca Switch."),
  closedValue: numberFrom(-1e9, 1e9)
    .exactOptional()
    .describe("The end of the switch's range that brings it over the aperture; the maximum if left out."),
});

/** Something that a person puts on and takes off; a run asks for it at the terminal, or is refused unattended. */
const byHand = mapOf({
  by: z
    .literal("hand", { error: "hand" })
    .describe("A person puts it on and takes it off, and is asked at the terminal."),
});

/** `{ server, device }` or `{ by: hand }`, told apart by the keys so that the message fits what was meant. */
const drivenOrByHand = z
  .unknown()
  .meta(schemaInFile(z.union([driven, byHand])))
  .transform((entry, ctx): z.infer<typeof driven> | z.infer<typeof byHand> => {
    const meantByHand = entry !== null && typeof entry === "object" && "by" in entry;
    return parsePart(meantByHand ? byHand : driven, entry, ctx);
  });

const propertyAndElement = textLine("a property and its element, PROPERTY.ELEMENT", 100);

/**
 * The devices of the rig by role. Only the camera must be there. Beside server and device stands what may be said
 * where a driver's own account does not do; the drivers know the defaults.
 */
export const rigDevices = mapOf({
  camera: mapOf({
    server,
    device,
    gainProperty: propertyAndElement
      .exactOptional()
      .describe("INDI: where the driver keeps the gain, as PROPERTY.ELEMENT."),
    offsetProperty: propertyAndElement.exactOptional().describe("INDI: where it keeps the offset."),
    captureFormat: textLine("the name of one of the camera's capture formats", 100)
      .exactOptional()
      .describe("INDI: the capture format to use; the deepest plain one if left out."),
    fullScaleAdu: wholeFrom(255, 65535, "adu")
      .exactOptional()
      .describe("Highest count of a pixel, if the driver's own account is wrong."),
    colour: z
      .enum(["red", "green", "blue", "all"], { error: "red, green, blue or all" })
      .exactOptional()
      .describe(
        "Of a camera behind a colour filter array: which pixels are its image, as if it were a monochrome camera with every second row and column; left out, by `optics.wavelengthNm`. With `all` images keep every pixel, and no flat can be taken.",
      ),
    filterArray: z
      .enum(["RGGB", "BGGR", "GRBG", "GBRG"], { error: "RGGB, BGGR, GRBG or GBRG" })
      .exactOptional()
      .describe(
        "Colours of the sensor's first two pixels and of the two below them, if the driver's own account is missing or wrong.",
      ),
    readoutSeconds: numberFrom(0.1, 600, "seconds")
      .exactOptional()
      .describe("Longest time from the end of an exposure to its last byte."),
    imageProperty: textLine("the property that delivers the images", 60)
      .exactOptional()
      .describe("INDI: the property that delivers the images."),
    sensor: mapOf({
      widthPx: wholeFrom(16, 65535, "pixels").describe("Pixels in a row."),
      heightPx: wholeFrom(16, 65535, "pixels").describe("Rows."),
      pixelMicron: numberFrom(0.5, 50, "micrometres").describe("Pitch of the pixels."),
    })
      .exactOptional()
      .describe("As its maker states it: for what `evenfield check` reckons before the camera is connected."),
  }).describe("Takes the frames."),
  mount: mapOf({
    server,
    device,
    slewDegreesPerSecondMin: numberFrom(0.05, 20, "degrees per second")
      .exactOptional()
      .describe("Slowest that it slews at, for deadlines; 0.5 if left out."),
    arrivalArcmin: numberFrom(0.1, 60, "arcminutes")
      .exactOptional()
      .describe("How near a slew must end to count as arrived; 5 if left out."),
  })
    .optional()
    .describe("Points the telescope."),
  focuser: mapOf({
    server,
    device,
    stepsPerSecondMin: numberFrom(1, 100_000, "steps per second")
      .exactOptional()
      .describe("Slowest that it moves, for deadlines."),
  })
    .optional()
    .describe("Needed for a flat by defocus."),
  cover: drivenOrByHand
    .optional()
    .describe("Keeps the light out: a dust cap, a lid, a flap. Needed for a leak check."),
  diffuser: drivenOrByHand.optional().describe("Goes in front of the Sun filter, which stays on."),
  wheel: mapOf({ server, device }).optional().describe("Filter wheel; its slot belongs to the train."),
  rotator: mapOf({ server, device }).optional().describe("Turns the camera; its angle belongs to the train."),
  dome: mapOf({
    server,
    device,
    shutterSecondsMax: numberFrom(5, 1200, "seconds")
      .exactOptional()
      .describe("Longest time for the shutter's way."),
    turnDegreesPerSecondMin: numberFrom(0.1, 20, "degrees per second")
      .exactOptional()
      .describe("Slowest that it turns, for deadlines."),
    toleranceDegrees: numberFrom(0.05, 10, "degrees")
      .exactOptional()
      .describe("How near to its azimuth counts as there."),
  })
    .optional()
    .describe("Opened for the Sun, turned with it, closed again."),
  weather: mapOf({
    server,
    device,
    conditions: device
      .exactOptional()
      .describe("An Alpaca ObservingConditions device beside a SafetyMonitor."),
    windMetresPerSecondMax: numberFrom(1, 60, "metres per second")
      .exactOptional()
      .describe("Alpaca: more is unsafe."),
    humidityPercentMax: numberFrom(1, 100, "percent").exactOptional().describe("Alpaca: more is unsafe."),
    cloudPercentMax: numberFrom(0, 100, "percent").exactOptional().describe("Alpaca: more is unsafe."),
  })
    .optional()
    .describe("What it calls unsafe ends a run."),
});
export type RigDevices = z.infer<typeof rigDevices>;
