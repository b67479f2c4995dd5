import type { Random } from "../../../drivers/kit/random.ts";
import type { SceneOverrides } from "./override-scene.ts";
import type { SceneSpec } from "./scene-spec.ts";

type Camera = SceneSpec["camera"];
type Slots = SceneSpec["rig"]["slots"];

/**
 * What real rigs, air and Sun have besides: a sheet that is not quite even and lets a little through clear, reflections,
 * a bent response, a read-out that wanders, haze thicker on one side, wind, a passband beside its line, a Sun that
 * changes. All of them are there; how much of each is drawn. Amounts from memory of what is usual, no source.
 * @param amount of all that is wrong with the light: 1 is a careful observer's rig, 0 none
 */
export function drawFlaws(random: Random, camera: Camera, slots: Slots, amount = 1): SceneOverrides {
  if (amount === 0) return {};
  return {
    camera: flawsOfReadOut(random.fork("read-out"), amount),
    rig: {
      diffuser: flawsOfSheet(random.fork("sheet"), camera, amount),
      ghosts: drawGhosts(random.fork("ghosts"), camera, amount),
      slots: besideTheLine(random.fork("passband"), slots),
      filterWarmth: {
        rmsCelsius: random.fork("warmth").between(0.02, 0.2),
        periodSeconds: random.fork("warms").between(600, 3600),
      },
    },
    sky: flawsOfAir(random.fork("air")),
    mount: {
      windShake: {
        rmsArcsec: random.fork("wind").between(0.1, 1),
        periodSeconds: random.fork("gusts").between(0.5, 5),
      },
    },
    sun: { changePerHour: random.fork("age").between(0.02, 0.2) },
  };
}

function flawsOfReadOut(random: Random, amount: number): NonNullable<SceneOverrides["camera"]> {
  return {
    response: {
      quadratic: amount * random.between(-0.002, 0.008),
      shoulder: amount * random.between(0, 0.004),
    },
    rowWanderCodes: random.between(0, 0.3),
    banding: { amplitudeCodes: random.between(0, 0.3), periodRows: random.between(5, 60) },
    dark: { glowDoublingSeconds: random.between(60, 600) },
  };
}

function flawsOfSheet(
  random: Random,
  { widthPx, heightPx }: Camera,
  amount: number,
): Partial<SceneSpec["rig"]["diffuser"]> {
  const upTo = (most: number) => amount * most * random.uniform();
  return {
    clearShare: amount * 10 ** random.between(-4, -2.8),
    fallOffAtCorner: upTo(0.004),
    slope: { peakToPeak: upTo(0.006), degrees: random.between(0, 360) },
    patches: Array.from({ length: random.whole(0, 2) }, () => ({
      xPx: random.between(0, widthPx),
      yPx: random.between(0, heightPx),
      sigmaPx: random.between(0.08, 0.2) * widthPx,
      excess: random.pick([1, -1]) * upTo(0.002),
    })),
    // Over a sheet that passes a hundredth it counts a hundred times.
    rimGap: {
      areaFraction: amount * 10 ** random.between(-7, -5.2),
      widthMm: random.between(0.1, 1),
      degrees: random.between(0, 360),
    },
  };
}

function drawGhosts(
  random: Random,
  { widthPx, heightPx }: Camera,
  amount: number,
): SceneSpec["rig"]["ghosts"] {
  return Array.from({ length: random.whole(1, 2) }, () => {
    const radiusPx = random.between(0.06, 0.25) * widthPx;
    return {
      share: amount * 10 ** random.between(-4, -2.8),
      motion: random.pick([-2, -1, -0.5, 0, 0.5, 2]),
      xPx: random.between(0.2, 0.8) * widthPx,
      yPx: random.between(0.2, 0.8) * heightPx,
      radiusPx,
      edgePx: random.between(0.1, 1) * radiusPx,
    };
  });
}

/** Of the first filter: the line is what it is for. */
function besideTheLine(random: Random, slots: Slots): Slots {
  const passband = {
    lineDepth: random.between(0.3, 0.7),
    detuning: random.between(-0.3, 0.3),
    towardsCorner: random.between(-0.4, 0.4),
    perCelsius: random.between(0.01, 0.05),
  };
  return slots.map((slot, k) => (k === 0 ? { passband, ...slot } : slot));
}

function flawsOfAir(random: Random): NonNullable<SceneOverrides["sky"]> {
  return {
    hazeGradient: { rms: 10 ** random.between(-3.5, -2.5), periodSeconds: random.between(30, 300) },
    seeingWander: { rms: random.between(0.05, 0.25), periodSeconds: random.between(2, 20) },
  };
}
