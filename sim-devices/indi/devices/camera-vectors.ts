import type { World } from "../../scene/world.ts";
import { blobVector, numberVector, switchVector, textVector } from "../vector.ts";

const main = "Main Control";
const settings = "Image Settings";
const info = "Image Info";
const options = "Options";
const enabled = [
  ["INDI_ENABLED", "Enabled"],
  ["INDI_DISABLED", "Disabled", true],
] as const;

/** The bits that the sent words can use: what CCD_BITSPERPIXEL declares. */
export function wordBits(camera: World["spec"]["camera"]): number {
  return camera.words === "plain" ? camera.bits : camera.bits === 8 ? 8 : 16;
}

/** All vectors of the simulated camera, at their values when it is connected. */
export function cameraVectors(world: World, snooped: Readonly<Record<string, string>>) {
  const { camera, optics } = world.spec;
  const at = world.camera.settings;
  const { widthPx, heightPx, pixelMicron } = camera;
  return {
    polling: numberVector(
      { name: "POLLING_PERIOD", label: "Polling", group: options, state: "Ok", timeout: 0 },
      [["PERIOD_MS", "Period (ms)", 1000, 10, 600_000, 1000, "%.f"]],
    ),
    active: textVector(
      { name: "ACTIVE_DEVICES", label: "Snoop devices", group: options },
      Object.entries(snooped).map(([name, value]) => [name, name.replace("ACTIVE_", ""), value]),
    ),
    exposure: numberVector({ name: "CCD_EXPOSURE", label: "Expose", group: main }, [
      [
        "CCD_EXPOSURE_VALUE",
        "Duration (s)",
        1,
        camera.exposureSecondsMin,
        camera.exposureSecondsMax,
        0,
        "%5.6f",
      ],
    ]),
    abort: switchVector({ name: "CCD_ABORT_EXPOSURE", label: "Abort", group: main, rule: "AtMostOne" }, [
      ["ABORT", "Abort"],
    ]),
    temperature: numberVector(
      {
        name: "CCD_TEMPERATURE",
        label: "Temperature",
        group: main,
        perm: camera.coolerCelsiusMin === undefined ? "ro" : "rw",
      },
      [
        [
          "CCD_TEMPERATURE_VALUE",
          "Temperature (C)",
          world.camera.sensorCelsius,
          camera.coolerCelsiusMin ?? -50,
          50,
          0,
          "%5.2f",
        ],
      ],
    ),
    cooler: switchVector(
      { name: "CCD_COOLER", label: "Cooler", group: main, state: world.camera.coolerOn ? "Busy" : "Idle" },
      [
        ["COOLER_ON", "On", world.camera.coolerOn],
        ["COOLER_OFF", "Off", !world.camera.coolerOn],
      ],
    ),
    frame: numberVector({ name: "CCD_FRAME", label: "Frame", group: settings }, [
      ["X", "Left", at.region.xPx, 0, widthPx - 1, 0, "%4.0f"],
      ["Y", "Top", at.region.yPx, 0, heightPx - 1, 0, "%4.0f"],
      ["WIDTH", "Width", at.region.widthPx, 1, widthPx, 0, "%4.0f"],
      ["HEIGHT", "Height", at.region.heightPx, 1, heightPx, 0, "%4.0f"],
    ]),
    frameReset: switchVector(
      { name: "CCD_FRAME_RESET", label: "Frame Values", group: settings, perm: "wo" },
      [["RESET", "Reset"]],
    ),
    binning: numberVector({ name: "CCD_BINNING", label: "Binning", group: settings }, [
      ["HOR_BIN", "X", at.binning, 1, camera.binningMax, 1, "%2.0f"],
      ["VER_BIN", "Y", at.binning, 1, camera.binningMax, 1, "%2.0f"],
    ]),
    gain: numberVector({ name: "CCD_GAIN", label: "Gain", group: settings }, [
      ["GAIN", "Gain", at.gain, 0, camera.gainMax, 1, "%.f"],
    ]),
    offset: numberVector({ name: "CCD_OFFSET", label: "Offset", group: settings }, [
      ["OFFSET", "Offset", at.offset, 0, camera.offsetMax, 1, "%.f"],
    ]),
    frameType: switchVector({ name: "CCD_FRAME_TYPE", label: "Frame Type", group: settings }, [
      ["FRAME_LIGHT", "Light", at.frameType === "light"],
      ["FRAME_BIAS", "Bias", at.frameType === "bias"],
      ["FRAME_DARK", "Dark", at.frameType === "dark"],
      ["FRAME_FLAT", "Flat", at.frameType === "flat"],
    ]),
    captureFormat: switchVector({ name: "CCD_CAPTURE_FORMAT", label: "Format", group: settings }, [
      ["INDI_MONO", "Mono", true],
    ]),
    transferFormat: switchVector({ name: "CCD_TRANSFER_FORMAT", label: "Encode", group: settings }, [
      ["FORMAT_FITS", "FITS", true],
      ["FORMAT_NATIVE", "Native"],
    ]),
    compression: switchVector({ name: "CCD_COMPRESSION", label: "Compression", group: settings }, enabled),
    upload: switchVector({ name: "UPLOAD_MODE", label: "Upload", group: options }, [
      ["UPLOAD_CLIENT", "Client", true],
      ["UPLOAD_LOCAL", "Local"],
      ["UPLOAD_BOTH", "Both"],
    ]),
    fitsHeader: textVector({ name: "FITS_HEADER", label: "FITS Header", group: info, perm: "wo" }, [
      ["KEYWORD_NAME", "Name", ""],
      ["KEYWORD_VALUE", "Value", ""],
      ["KEYWORD_COMMENT", "Comment", ""],
    ]),
    scope: numberVector({ name: "SCOPE_INFO", label: "Scope", group: options }, [
      ["FOCAL_LENGTH", "Focal length (mm)", optics.focalLengthMm, 10, 20_000, 0, "%.2f"],
      ["APERTURE", "Aperture (mm)", optics.apertureMm, 1, 3000, 0, "%.2f"],
    ]),
    info: numberVector({ name: "CCD_INFO", label: "Information", group: info, perm: "ro" }, [
      ["CCD_MAX_X", "Max. width", widthPx, 1, 16_384, 0, "%4.0f"],
      ["CCD_MAX_Y", "Max. height", heightPx, 1, 16_384, 0, "%4.0f"],
      ["CCD_PIXEL_SIZE", "Pixel size (um)", pixelMicron, 1, 40, 0, "%5.2f"],
      ["CCD_PIXEL_SIZE_X", "Pixel size X", pixelMicron, 1, 40, 0, "%5.2f"],
      ["CCD_PIXEL_SIZE_Y", "Pixel size Y", pixelMicron, 1, 40, 0, "%5.2f"],
      ["CCD_BITSPERPIXEL", "Bits per pixel", wordBits(camera), 8, 64, 0, "%3.0f"],
    ]),
    filterArray: textVector({ name: "CCD_CFA", label: "Filter array", group: info, perm: "ro" }, [
      ["CFA_OFFSET_X", "X offset", "0"],
      ["CFA_OFFSET_Y", "Y offset", "0"],
      ["CFA_TYPE", "Pattern", camera.mosaic?.pattern ?? ""],
    ]),
    image: blobVector({ name: "CCD1", label: "Image Data", group: info, perm: "ro" }, [["CCD1", "Image"]]),
  };
}
