import type { KeptSetting } from "../../roles/kept-settings.ts";
import type { IndiDevice } from "../session/device.ts";
import { numberSetting, switchSetting } from "../session/kept-setting.ts";
import { numberIn } from "../wire/property.ts";
import { regionOf, setBinning, setRegion } from "./camera-configure.ts";
import type { NumberPlace } from "./camera-controls.ts";
import { coolerSettings } from "./camera-cooler.ts";
import { transportProperties } from "./camera-transport.ts";

const numbersOf = (value: unknown): readonly number[] =>
  Array.isArray(value) ? (value as readonly number[]) : [];
const sameNumbers = (a: unknown, b: unknown) => numbersOf(a).join() === numbersOf(b).join();

/**
 * Everything that our own exposures may change, in an order in which it can be put back: the capture format resets
 * the frame, the binning may too, and both reset the stream's frame.
 */
export function cameraSettings(
  device: IndiDevice,
  places: { gain: NumberPlace | undefined; offset: NumberPlace | undefined },
): readonly KeptSetting[] {
  const settings: KeptSetting[] = [];
  const offered = (property: string) => device.property(property) !== undefined;
  const keepSwitch = (property: string) => {
    if (offered(property)) settings.push(switchSetting(device, property, property));
  };
  const keepNumber = (key: string, place: NumberPlace | undefined) => {
    if (place)
      settings.push(
        numberSetting(device, key, { property: place.property, elements: [place.element], tolerance: 1e-3 }),
      );
  };
  keepSwitch("CCD_CAPTURE_FORMAT");
  if (offered("CCD_BINNING")) settings.push(binningSetting(device));
  if (offered("CCD_FRAME")) settings.push(regionSetting(device));
  if (offered("CCD_STREAM_FRAME")) {
    const elements = ["X", "Y", "WIDTH", "HEIGHT"];
    settings.push(
      numberSetting(device, "CCD_STREAM_FRAME", { property: "CCD_STREAM_FRAME", elements, tolerance: 0.5 }),
    );
  }
  if (offered("CCD_FRAME_TYPE")) settings.push(switchSetting(device, "frameType", "CCD_FRAME_TYPE"));
  keepNumber("gain", places.gain);
  keepNumber("offset", places.offset);
  settings.push(...coolerSettings(device));
  for (const property of transportProperties) keepSwitch(property);
  return settings;
}

function binningSetting(device: IndiDevice): KeptSetting {
  return {
    key: "binning",
    async read(signal) {
      const vector = await device.refresh("CCD_BINNING", {}, signal);
      return [numberIn(vector, "HOR_BIN") ?? 1, numberIn(vector, "VER_BIN") ?? 1];
    },
    async restore(value, signal) {
      const [across] = numbersOf(value);
      if (sameNumbers(await this.read(signal), value)) return;
      await setBinning(device, across ?? 1, signal);
    },
    same: sameNumbers,
  };
}

function regionSetting(device: IndiDevice): KeptSetting {
  return {
    key: "region",
    unit: "px: x, y, width, height",
    async read(signal) {
      const region = regionOf(await device.refresh("CCD_FRAME", {}, signal));
      return region && [region.xPx, region.yPx, region.widthPx, region.heightPx];
    },
    async restore(value, signal) {
      const [xPx = 0, yPx = 0, widthPx = 0, heightPx = 0] = numbersOf(value);
      await setRegion(device, { xPx, yPx, widthPx, heightPx }, signal, { always: false });
    },
    same: sameNumbers,
  };
}
