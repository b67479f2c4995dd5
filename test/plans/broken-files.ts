import { stepKinds } from "../../plans/plan-steps.ts";
/** Files with one fault each: what to change in a good file, and the one message that must come out. */
export interface BrokenFile {
  readonly fault: string;
  readonly change: readonly [find: string, put: string];
  readonly line: number;
  /** The message after `file:line: `, in full. */
  readonly message: string;
}

export const goodPlan = `plan: morning
about: A flat and some images.
sun:
  altitudeDegreesMin: 25
steps:
  - centre:
      toleranceFraction: 0.002
  - leak-check
  - flat:
      blur: diffuser
      frames: 40
      levelFraction: 0.85
  - images:
      frames: 8
      onFailure: continue
  - wait:
      minutes: 5
`;

export const goodRig = `rig: garden
site:
  latitudeDegrees: 52.1
  longitudeDegrees: -1.4
  elevationMetres: 110
optics:
  apertureMm: 100
  focalLengthMm: 800
  wavelengthNm: 656.28
sunFilter:
  describe: Full aperture, three screws
  madeForThisInstrument: true
  lastConfirmed: 2026-05-01
  confirmAgainAfterDays: 60
limits:
  brightnessTripFactor: 4
servers:
  home:
    indi: { host: 127.0.0.1, port: 7624 }
devices:
  camera: { server: home, device: Camera A }
  mount: { server: home, device: Mount A }
  cover: { server: home, device: Cap A }
  diffuser: { by: hand }
train:
  spacerMm: 12
`;

const kinds = `one of ${stepKinds.join(", ")}, alone or as a key with its options`;
const nameRule = "lower-case letters, digits and hyphens, 1 to 40 of them, a letter first";

const alias = "repeats another part; write it out instead";

/** `a` ten times in `b`, `b` ten times in `c`, and so on: ten thousand million in a few lines. */
const aliasBomb = "bcdefghij"
  .split("")
  .reduce(
    (text, letter, index) =>
      `${text}${letter}: &${letter} [${Array(10).fill(`*${"abcdefghi"[index]}`).join(", ")}]\n`,
    "a: &a [x, x, x, x, x, x, x, x, x, x]\n",
  );

export const brokenPlans: readonly BrokenFile[] = [
  {
    fault: "images that end at two times",
    change: ["frames: 8", "frames: 8\n      forMinutes: 5\n      untilSunAltitudeDegrees: 30"],
    line: 13,
    message:
      '`steps[4].images` is {"frames":8,"forMinutes":5,"untilSunAltitudeDegrees":30,"…; allowed: forMinutes or untilSunAltitudeDegrees, not both',
  },
  {
    fault: "a correction of the light without looks at it",
    change: ["blur: diffuser", "blur: diffuser\n      correctLight: true\n      proveLight: false"],
    line: 9,
    message:
      '`steps[3].flat` is {"blur":"diffuser","frames":40,"levelFraction":0.85,"prov…; allowed: correctLight only with proveLight, whose looks it goes by',
  },
  {
    fault: "an alias of nothing",
    change: ["plan: morning", "plan: *nobody"],
    line: 1,
    message: `not readable as YAML: \`*nobody\` ${alias}`,
  },
  {
    fault: "an alias within itself",
    change: ["about: A", "about: &a [*a, *a] # A"],
    line: 2,
    message: `not readable as YAML: \`*a\` ${alias}`,
  },
  {
    fault: "aliases by the thousand million",
    change: ["about: A", `${aliasBomb}about: A`],
    line: 3,
    message: `not readable as YAML: \`*a\` ${alias}`,
  },
  {
    fault: "more steps than any day holds",
    change: ["steps:\n", `steps:\n${"  - centre\n".repeat(2000)}`],
    line: 5,
    message: "`steps` is a list of 2005; allowed: a list of at most 1000 steps",
  },
  {
    fault: "two hundred thousand steps",
    change: ["steps:\n", `steps:\n${"  - centre\n".repeat(200_000)}`],
    line: 1,
    message:
      "not readable as YAML: it is 2200295 characters long, and no file of this kind has more than 1000000",
  },
  {
    fault: "no name",
    change: ["plan: morning\n", ""],
    line: 1,
    message: `\`plan\` is missing; allowed: the plan's name: ${nameRule}`,
  },
  {
    fault: "a name with a space",
    change: ["plan: morning", "plan: My Plan"],
    line: 1,
    message: `\`plan\` is "My Plan"; allowed: the plan's name: ${nameRule}`,
  },
  {
    fault: "an empty name",
    change: ["plan: morning", "plan:"],
    line: 1,
    message: `\`plan\` is empty; allowed: the plan's name: ${nameRule}`,
  },
  {
    fault: "a misspelt key",
    change: ["about:", "abuot:"],
    line: 2,
    message: "unknown key `abuot` (did you mean `about`?); allowed: plan, about, sun, camera, steps",
  },
  {
    fault: "a stranger among the keys",
    change: ["about:", "colour:"],
    line: 2,
    message: "unknown key `colour`; allowed: plan, about, sun, camera, steps",
  },
  {
    fault: "a key with another unit",
    change: ["altitudeDegreesMin: 25", "altitudeRadiansMin: 0.4"],
    line: 4,
    message:
      "unknown key `altitudeRadiansMin` in `sun` (did you mean `altitudeDegreesMin`?); allowed: altitudeDegreesMin, plannedMinutes",
  },
  {
    fault: "an altitude below the horizon",
    change: ["altitudeDegreesMin: 25", "altitudeDegreesMin: -3"],
    line: 4,
    message:
      "`sun.altitudeDegreesMin` is -3; allowed: a number from 5 to 85 degrees, written without the unit",
  },
  {
    fault: "a unit in the value",
    change: ["altitudeDegreesMin: 25", "altitudeDegreesMin: 25 deg"],
    line: 4,
    message:
      '`sun.altitudeDegreesMin` is "25 deg"; allowed: a number from 5 to 85 degrees, written without the unit',
  },
  {
    fault: "no steps",
    change: [/* all of them */ goodPlan.slice(goodPlan.indexOf("steps:")), ""],
    line: 1,
    message: "`steps` is missing; allowed: a list of steps",
  },
  {
    fault: "an empty list of steps",
    change: [goodPlan.slice(goodPlan.indexOf("steps:")), "steps: []\n"],
    line: 5,
    message: "`steps` is []; allowed: a list of at least one step",
  },
  {
    fault: "steps that are no list",
    change: [goodPlan.slice(goodPlan.indexOf("steps:")), "steps: centre\n"],
    line: 5,
    message: '`steps` is "centre"; allowed: a list of steps',
  },
  {
    fault: "a misspelt step",
    change: ["leak-check", "leakcheck"],
    line: 8,
    message: `\`steps[2]\` is "leakcheck"; allowed: ${kinds}; did you mean \`leak-check\`?`,
  },
  {
    fault: "a step nobody knows",
    change: ["- leak-check", "- polish: {}\n  - leak-check"],
    line: 8,
    message: `\`steps[2]\` is "polish"; allowed: ${kinds}`,
  },
  {
    fault: "a number for a step",
    change: ["- leak-check", "- 7\n  - leak-check"],
    line: 8,
    message: `\`steps[2]\` is 7; allowed: ${kinds}`,
  },
  {
    fault: "two kinds in one step",
    change: ["  - flat:\n", "  - centre: {}\n    flat:\n"],
    line: 9,
    message: `\`steps[3]\` is {"centre":{},"flat":{"blur":"diffuser","frames":40,"level…; allowed: ${kinds}`,
  },
  {
    fault: "a tolerance in per cent",
    change: ["toleranceFraction: 0.002", "toleranceFraction: 2"],
    line: 7,
    message:
      "`steps[1].centre.toleranceFraction` is 2; allowed: a number from 0.0005 to 0.2 of the disc's diameter, written without the unit",
  },
  {
    fault: "a level beyond clipping",
    change: ["levelFraction: 0.85", "levelFraction: 0.99"],
    line: 12,
    message:
      "`steps[3].flat.levelFraction` is 0.99; allowed: a number from 0.3 to 0.92 of full scale, written without the unit",
  },
  {
    fault: "frames in words",
    change: ["frames: 40", "frames: many"],
    line: 11,
    message:
      '`steps[3].flat.frames` is "many"; allowed: a whole number from 4 to 1000 frames, as-images, or enough',
  },
  {
    fault: "half a frame",
    change: ["frames: 8", "frames: 8.5"],
    line: 14,
    message: "`steps[4].images.frames` is 8.5; allowed: a whole number from 1 to 10000 frames",
  },
  {
    fault: "images without a number",
    change: ["      frames: 8\n", ""],
    line: 13,
    message: "`steps[4].images.frames` is missing; allowed: a whole number from 1 to 10000 frames",
  },
  {
    fault: "a way to blur that nobody knows",
    change: ["blur: diffuser", "blur: fog"],
    line: 10,
    message: '`steps[3].flat.blur` is "fog"; allowed: diffuser, defocus, drift',
  },
  {
    fault: "two ways to blur",
    change: ["blur: diffuser", "blur: [diffuser, drift]"],
    line: 10,
    message: '`steps[3].flat.blur` is ["diffuser","drift"]; allowed: diffuser, defocus, drift',
  },
  {
    fault: "a drift's radius for a diffuser",
    change: ["blur: diffuser", "blur: diffuser\n      driftRadiusFraction: 0.2"],
    line: 9,
    message:
      "step 3: `driftRadiusFraction` belongs to a flat by drift; allowed: leave it out, or `blur: drift`",
  },
  {
    fault: "a drift of a few frames",
    change: ["blur: diffuser\n      frames: 40", "blur: drift\n      frames: 8"],
    line: 9,
    message:
      "step 3: a flat by drift is solved from many frames, and 8 are too few; allowed: at least 24, or as-images",
  },
  {
    fault: "a drift until it is enough",
    change: ["blur: diffuser\n      frames: 40", "blur: drift\n      frames: enough"],
    line: 9,
    message:
      'step 3: `frames` is "enough", which only a flat by diffuser can tell while it is taken; allowed: a number, or as-images',
  },
  {
    fault: "a stack for a flat of so many frames",
    change: ["frames: 40", "frames: 40\n      imagesToStack: 100"],
    line: 9,
    message:
      "step 3: `imagesToStack` and `addedNoiseFraction` say what is enough; allowed: with `frames: enough` only",
  },
  {
    fault: "an unknown answer to failure",
    change: ["onFailure: continue", "onFailure: retry"],
    line: 15,
    message: '`steps[4].images.onFailure` is "retry"; allowed: stop, continue',
  },
  {
    fault: "a wait for two things",
    change: ["minutes: 5", "minutes: 5\n      untilSunAltitudeDegrees: 30"],
    line: 16,
    message:
      '`steps[5].wait` is {"minutes":5,"untilSunAltitudeDegrees":30,"onFailure":"st…; allowed: exactly one of minutes, untilSunAltitudeDegrees',
  },
  {
    fault: "a wait for nothing",
    change: ["      minutes: 5\n", "      onFailure: stop\n"],
    line: 16,
    message:
      '`steps[5].wait` is {"onFailure":"stop"}; allowed: exactly one of minutes, untilSunAltitudeDegrees',
  },
  {
    fault: "a flat with no leak check",
    change: ["  - leak-check\n", ""],
    line: 8,
    message:
      "step 2: a flat by diffuser has long exposures that a light leak spoils; allowed: a `leak-check` step before it",
  },
  {
    fault: "as many as the images, and no images",
    change: [goodPlan.slice(goodPlan.indexOf("      frames: 40")), ""],
    line: 9,
    message:
      'step 3: `frames` is "as-images" and the plan takes no images; allowed: a number, or an `images` step in the plan',
  },
  {
    fault: "images with the Sun not centred",
    change: [goodPlan.slice(goodPlan.indexOf("  - centre")), "  - images: { frames: 8 }\n"],
    line: 6,
    message: "step 1: `images` needs the Sun centred; allowed: a `centre` step before it",
  },
  {
    fault: "a key given twice",
    change: ["about:", "plan: evening\nabout:"],
    line: 2,
    message: "not readable as YAML: Map keys must be unique",
  },
  {
    fault: "a bracket left open",
    change: ["frames: 40", "frames: [40"],
    line: 12,
    message:
      "not readable as YAML: Flow sequence in block collection must be sufficiently indented and end with a ]",
  },
  {
    fault: "a tab for an indent",
    change: ["  altitudeDegreesMin", "\taltitudeDegreesMin"],
    line: 4,
    message: "not readable as YAML: Tabs are not allowed as indentation",
  },
  {
    fault: "an empty file",
    change: [goodPlan, ""],
    line: 1,
    message: "the file is empty; allowed: a map with the keys plan, about, sun, camera, steps",
  },
];

const rigKeys = "rig, about, site, optics, sunFilter, limits, servers, devices, keeper, train";
const roles = "camera, mount, focuser, cover, diffuser, wheel, rotator, dome, weather";

export const brokenRigs: readonly BrokenFile[] = [
  {
    fault: "an alias",
    change: ["rig: garden", "rig: *name"],
    line: 1,
    message: `not readable as YAML: \`*name\` ${alias}`,
  },
  {
    fault: "no site",
    change: [goodRig.slice(goodRig.indexOf("site:"), goodRig.indexOf("optics:")), ""],
    line: 1,
    message:
      "`site` is missing; allowed: a map with the keys latitudeDegrees, longitudeDegrees, elevationMetres, timeZone",
  },
  {
    fault: "a latitude with its letter",
    change: ["52.1", "52.1N"],
    line: 3,
    message:
      '`site.latitudeDegrees` is "52.1N"; allowed: a number from -90 to 90 degrees, north positive, written without the unit',
  },
  {
    fault: "a longitude beyond the globe",
    change: ["-1.4", "358.6"],
    line: 4,
    message:
      "`site.longitudeDegrees` is 358.6; allowed: a number from -180 to 180 degrees, east positive, written without the unit",
  },
  {
    fault: "an aperture in inches",
    change: ["apertureMm: 100", "apertureInches: 4"],
    line: 7,
    message:
      "unknown key `apertureInches` in `optics` (did you mean `apertureMm`?); allowed: apertureMm, focalLengthMm, wavelengthNm",
  },
  {
    fault: "a wavelength in ångström",
    change: ["656.28", "6562.8"],
    line: 9,
    message:
      "`optics.wavelengthNm` is 6562.8; allowed: a number from 300 to 1100 nanometres, written without the unit",
  },
  {
    fault: "no filter statement",
    change: [goodRig.slice(goodRig.indexOf("sunFilter:"), goodRig.indexOf("limits:")), ""],
    line: 1,
    message:
      "`sunFilter` is missing; allowed: a map with the keys describe, madeForThisInstrument, lastConfirmed, confirmAgainAfterDays",
  },
  {
    fault: "a filter made for another instrument",
    change: ["madeForThisInstrument: true", "madeForThisInstrument: false"],
    line: 12,
    message:
      "`sunFilter.madeForThisInstrument` is false; allowed: true, and only when the filter is made for this instrument; without such a filter never point near the Sun",
  },
  {
    fault: "a day that does not exist",
    change: ["2026-05-01", "2026-02-30"],
    line: 13,
    message:
      '`sunFilter.lastConfirmed` is "2026-02-30"; allowed: a day that exists, written YYYY-MM-DD, or a time on it in UTC, written YYYY-MM-DDThh:mmZ',
  },
  {
    fault: "a day in words",
    change: ["2026-05-01", "last spring"],
    line: 13,
    message:
      '`sunFilter.lastConfirmed` is "last spring"; allowed: a day that exists, written YYYY-MM-DD, or a time on it in UTC, written YYYY-MM-DDThh:mmZ',
  },
  {
    fault: "a filter confirmed for ever",
    change: ["confirmAgainAfterDays: 60", "confirmAgainAfterDays: 10000"],
    line: 14,
    message: "`sunFilter.confirmAgainAfterDays` is 10000; allowed: a whole number from 1 to 400 days",
  },
  {
    fault: "a brightness trip switched off",
    change: ["brightnessTripFactor: 4", "brightnessTripFactor: 0"],
    line: 16,
    message:
      "`limits.brightnessTripFactor` is 0; allowed: a number from 1.5 to 10 times the expected level, written without the unit",
  },
  {
    fault: "an unknown limit",
    change: ["brightnessTripFactor: 4", "brightnesTripFactor: 4"],
    line: 16,
    message:
      "unknown key `brightnesTripFactor` in `limits` (did you mean `brightnessTripFactor`?); allowed: brightnessTripFactor, edgeAduPerSecondMax, sunAltitudeDegreesMin, silenceSecondsMax, freeDiskMegabytesMin, runsKeptDays, runsKeptMegabytesMax",
  },
  {
    fault: "a protocol that is none",
    change: ["indi: { host: 127.0.0.1, port: 7624 }", "serial: { host: 127.0.0.1, port: 11111 }"],
    line: 18,
    message:
      '`servers.home` is {"serial":{"host":"127.0.0.1","port":11111}}; allowed: { indi: { host, port } } or { alpaca: { host, port } }',
  },
  {
    fault: "an alpaca server without its port",
    change: ["indi: { host: 127.0.0.1, port: 7624 }", "alpaca: { host: 127.0.0.1 }"],
    line: 19,
    message: "`servers.home.alpaca.port` is missing; allowed: a whole number from 1 to 65535",
  },
  {
    fault: "a word of the other protocol",
    change: ["device: Cap A }", "device: Cap A, switch: flap }"],
    line: 23,
    message:
      '`devices.cover.switch` is "flap"; allowed: a key for devices on alpaca servers; leave it out for one on an indi server',
  },
  {
    fault: "a port that is none",
    change: ["port: 7624", "port: 99999"],
    line: 19,
    message: "`servers.home.indi.port` is 99999; allowed: a whole number from 1 to 65535",
  },
  {
    fault: "a server with no host",
    change: ["{ host: 127.0.0.1, port: 7624 }", "{ port: 7624 }"],
    line: 19,
    message:
      "`servers.home.indi.host` is missing; allowed: a host name or address, 1 to 253 characters of text",
  },
  {
    fault: "no camera",
    change: ["  camera: { server: home, device: Camera A }\n", ""],
    line: 20,
    message:
      "`devices.camera` is missing; allowed: a map with the keys server, device, gainProperty, offsetProperty, captureFormat, fullScaleAdu, colour, filterArray, readoutSeconds, imageProperty, sensor",
  },
  {
    fault: "a device on a server that is not listed",
    change: ["mount: { server: home,", "mount: { server: roof,"],
    line: 22,
    message: '`devices.mount.server` is "roof"; allowed: a name under `servers`: home',
  },
  {
    fault: "a device without its name",
    change: ["{ server: home, device: Mount A }", "{ server: home }"],
    line: 22,
    message:
      "`devices.mount.device` is missing; allowed: the device's name as its server gives it, 1 to 100 characters of text",
  },
  {
    fault: "a camera by hand",
    change: [
      "camera: { server: home, device: Camera A }",
      "camera: { server: home, device: Camera A, by: hand }",
    ],
    line: 21,
    message:
      "unknown key `by` in `devices.camera`; allowed: server, device, gainProperty, offsetProperty, captureFormat, fullScaleAdu, colour, filterArray, readoutSeconds, imageProperty, sensor",
  },
  {
    fault: "a diffuser by foot",
    change: ["by: hand", "by: foot"],
    line: 24,
    message: '`devices.diffuser.by` is "foot"; allowed: hand',
  },
  {
    fault: "one device for two covers",
    change: ["{ by: hand }", "{ server: home, device: Cap A }"],
    line: 24,
    message: '`devices.diffuser.device` is "Cap A"; allowed: a device of its own; it is the cover already',
  },
  {
    fault: "a role nobody plays",
    change: ["  cover:", "  guider: { server: home, device: G }\n  cover:"],
    line: 23,
    message: `unknown key \`guider\` in \`devices\`; allowed: ${roles}`,
  },
  {
    fault: "a fact that is a list",
    change: ["spacerMm: 12", "spacerMm: [12]"],
    line: 26,
    message: "`train.spacerMm` is [12]; allowed: text or a number",
  },
  {
    fault: "a keeper without a host",
    change: ["train:", "keeper: { port: 7627 }\ntrain:"],
    line: 25,
    message: "`keeper.host` is missing; allowed: a host name or address, 1 to 253 characters of text",
  },
  {
    fault: "a key at the wrong level",
    change: ["rig: garden", "rig: garden\napertureMm: 100"],
    line: 2,
    message: `unknown key \`apertureMm\`; allowed: ${rigKeys}`,
  },
];
