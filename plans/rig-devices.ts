import * as z from "zod";
import { mapOf, numberFrom, parsePart, textLine, wholeFrom } from "./fields.ts";

const server = textLine("a name under `servers`", 60);
const device = textLine("the device's name as its server gives it", 100);

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
  travelSecondsMax: numberFrom(1, 300, "seconds").exactOptional(),
  /** The device is an Alpaca Switch, and this switch of it moves the thing. */
  switch: z
    .union([textLine("a switch's name", 100), wholeFrom(0, 32767)], {
      error: "a switch's name, or its number from 0",
    })
    .exactOptional(),
  /** The end of the switch's range that brings it over the aperture; the maximum if left out. */
  closedValue: numberFrom(-1e9, 1e9).exactOptional(),
});

/** Something that a person puts on and takes off; a run asks for it at the terminal, or is refused unattended. */
const byHand = mapOf({ by: z.literal("hand", { error: "hand" }) });

/** `{ server, device }` or `{ by: hand }`, told apart by the keys so that the message fits what was meant. */
const drivenOrByHand = z
  .unknown()
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
    gainProperty: propertyAndElement.exactOptional(),
    offsetProperty: propertyAndElement.exactOptional(),
    captureFormat: textLine("the name of one of the camera's capture formats", 100).exactOptional(),
    fullScaleAdu: wholeFrom(255, 65535, "adu").exactOptional(),
    readoutSeconds: numberFrom(0.1, 600, "seconds").exactOptional(),
    imageProperty: textLine("the property that delivers the images", 60).exactOptional(),
    /** As its maker states it, for what is reckoned before the camera is connected: `check` and `rehearse`. */
    sensor: mapOf({
      widthPx: wholeFrom(16, 65535, "pixels"),
      heightPx: wholeFrom(16, 65535, "pixels"),
      pixelMicron: numberFrom(0.5, 50, "micrometres"),
    }).exactOptional(),
  }),
  mount: mapOf({
    server,
    device,
    slewDegreesPerSecondMin: numberFrom(0.05, 20, "degrees per second").exactOptional(),
    arrivalArcmin: numberFrom(0.1, 60, "arcminutes").exactOptional(),
  }).optional(),
  focuser: mapOf({
    server,
    device,
    stepsPerSecondMin: numberFrom(1, 100_000, "steps per second").exactOptional(),
  }).optional(),
  cover: drivenOrByHand.optional(),
  diffuser: drivenOrByHand.optional(),
  wheel: mapOf({ server, device }).optional(),
  rotator: mapOf({ server, device }).optional(),
  dome: mapOf({
    server,
    device,
    shutterSecondsMax: numberFrom(5, 1200, "seconds").exactOptional(),
    turnDegreesPerSecondMin: numberFrom(0.1, 20, "degrees per second").exactOptional(),
    toleranceDegrees: numberFrom(0.05, 10, "degrees").exactOptional(),
  }).optional(),
  weather: mapOf({
    server,
    device,
    /** An Alpaca ObservingConditions device beside a SafetyMonitor. */
    conditions: device.exactOptional(),
    windMetresPerSecondMax: numberFrom(1, 60, "metres per second").exactOptional(),
    humidityPercentMax: numberFrom(1, 100, "percent").exactOptional(),
    cloudPercentMax: numberFrom(0, 100, "percent").exactOptional(),
  }).optional(),
});
export type RigDevices = z.infer<typeof rigDevices>;
