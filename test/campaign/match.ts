import { matchTrain, type TrainMatch } from "../../agent/imaging/match/match-train.ts";
import { type SmallStructure, smallStructure } from "../../agent/imaging/match/small-structure.ts";
import { loadFft } from "../../agent/imaging/numerics/fft-library.ts";
import { correlationAt } from "../../agent/imaging/registration/register-pair.ts";
import { Random } from "../../drivers/kit/random.ts";
import { printTable } from "./print-table.ts";

const shape = { widthPx: 384, heightPx: 288 };

export interface MatchCampaign {
  readonly trials: number;
  readonly unmovedSaidToFit: number;
  readonly shiftsSeen: number;
  readonly shiftErrorMost: number;
  readonly rotationsSeen: number;
  readonly rotationErrorMost: number;
  readonly farDustSeen: number;
  readonly otherTrainsTold: number;
  readonly rightMasters: number;
}

/**
 * Trains of drawn dust on an uneven sensor whose own pixel pattern never moves. Each is looked at again: unmoved under
 * other vignetting, shifted by 0.5 px, turned by 0.2 degrees, with only the far dust moved, and with other dust; and the
 * right master is picked out of 50.
 */
export async function run(options: {
  seed: number;
  trials: number;
  print?: (line: string) => void;
}): Promise<MatchCampaign> {
  const { seed, trials, print } = options;
  const fft = await loadFft();
  const masters = Array.from({ length: 50 }, (_, k) => seed * 1000 + k);
  const structures = masters.map((train) => viewed({ train, view: 1 }).structure);
  const result = { fits: 0, shifts: 0, shiftError: 0, turns: 0, turnError: 0, far: 0, other: 0, right: 0 };
  for (let k = 0; k < trials; k++) {
    const train = masters[k % masters.length]! + 100 * Math.floor(k / masters.length);
    const random = new Random(train).fork("moves");
    const angle = random.between(0, 2 * Math.PI);
    const shift = { x: 0.5 * Math.cos(angle), y: 0.5 * Math.sin(angle) };
    const turn = random.pick([0.2, -0.2] as const);
    const flat = viewed({ train, view: 1 });
    const against = (look: Omit<Look, "train">, other = train) =>
      matchTrain(fft, flat.structure, viewed({ train: other, ...look }).structure, flat.shadows, "flat");
    const say = (what: string, match: TrainMatch) => print?.(`train ${train}, ${what}: ${told(match)}`);
    const still = against({ view: 2 });
    if (still.says === "fits") result.fits++;
    else say("unmoved", still);
    const shifted = against({ view: 3, shift });
    const shiftError = Math.hypot(shifted.shift.x - shift.x, shifted.shift.y - shift.y);
    result.shiftError = Math.max(result.shiftError, shiftError);
    if (shifted.says === "moved" && shiftError < 0.2) result.shifts++;
    else say(`shifted by ${shift.x.toFixed(2)}, ${shift.y.toFixed(2)}`, shifted);
    const turned = against({ view: 4, turnDegrees: turn });
    const turnError = Math.abs((turned.move?.rotationDegrees ?? 0) - turn);
    result.turnError = Math.max(result.turnError, turnError);
    if (turned.says === "moved" && turnError < 0.1) result.turns++;
    else say(`turned by ${turn}`, turned);
    const far = against({ view: 5, shift: { x: 2 * shift.x, y: 2 * shift.y }, nearStays: true });
    if (far.says === "moved") result.far++;
    else say("far dust moved by 1 px", far);
    const other = against({ view: 6 }, train + 50_000);
    if (other.says === "other") result.other++;
    else say("other dust", other);
    const asked = viewed({ train: masters[k % masters.length]!, view: 7 + k, shift: { x: 0.1, y: -0.1 } });
    if (bestOf(structures, asked.structure) === k % masters.length) result.right++;
    else print?.(`the wrong master of 50 was picked for ${masters[k % masters.length]}`);
  }
  const of = (count: number) => `${count} of ${trials}`;
  printTable(print, `Match: ${trials} trains of drawn dust, seed ${seed}`, [
    ["unmoved: said to fit", of(result.fits), ""],
    ["shifted by 0.5 px: seen, to 0.2 px", of(result.shifts), "all"],
    ["error of that shift, most", `${result.shiftError.toFixed(3)} px`, ""],
    ["turned by 0.2 degrees: seen, to 0.1 degrees", of(result.turns), "all"],
    ["error of that rotation, most", `${result.turnError.toFixed(3)} deg`, ""],
    ["only far dust moved, by 1 px: seen", of(result.far), ""],
    ["other dust: told as another train", of(result.other), ""],
    ["right master of 50 picked", of(result.right), "≥ 99 %"],
  ]);
  return {
    trials,
    unmovedSaidToFit: result.fits,
    shiftsSeen: result.shifts,
    shiftErrorMost: result.shiftError,
    rotationsSeen: result.turns,
    rotationErrorMost: result.turnError,
    farDustSeen: result.far,
    otherTrainsTold: result.other,
    rightMasters: result.right,
  };
}

function bestOf(masters: readonly SmallStructure[], asked: SmallStructure): number {
  const scores = masters.map((master) => correlationAt(master.fine, asked.fine, shape, { x: 0, y: 0 }));
  return scores.indexOf(Math.max(...scores));
}

interface Look {
  readonly train: number;
  /** Its own noise and vignetting. */
  readonly view: number;
  readonly shift?: { readonly x: number; readonly y: number };
  readonly turnDegrees?: number;
  /** Dust next to the sensor does not move along. */
  readonly nearStays?: boolean;
}

/** 12 discs and rings from 10 to 60 px, 1 to 8 % deep; 0.5 % of fixed pixel pattern and 0.15 % of noise. */
function viewed({ train, view, shift = { x: 0, y: 0 }, turnDegrees = 0, nearStays = false }: Look) {
  const { widthPx, heightPx } = shape;
  const dust = new Random(train).fork("dust");
  const shadows = Array.from({ length: 12 }, () => ({
    xPx: dust.between(20, widthPx - 20),
    yPx: dust.between(20, heightPx - 20),
    diameterPx: 10 ** dust.between(1, 1.8),
    depth: dust.between(0.01, 0.08),
    hole: dust.uniform() < 0.5 ? 0.35 : 0,
  }));
  const turn = (turnDegrees * Math.PI) / 180;
  const [middleX, middleY] = [(widthPx - 1) / 2, (heightPx - 1) / 2];
  const cast = shadows.map((one) => {
    if (nearStays && one.diameterPx < 22) return one;
    const [dx, dy] = [one.xPx - middleX, one.yPx - middleY];
    return {
      ...one,
      xPx: middleX + dx * Math.cos(turn) - dy * Math.sin(turn) + shift.x,
      yPx: middleY + dx * Math.sin(turn) + dy * Math.cos(turn) + shift.y,
    };
  });
  const sensor = new Random(4711);
  const noise = new Random(train * 100 + view);
  const vignetting = noise.between(0.05, 0.3);
  const levels = Float32Array.from({ length: widthPx * heightPx }, (_, i) => {
    const [x, y] = [i % widthPx, Math.floor(i / widthPx)];
    let level = 1 - (vignetting * ((x - middleX) ** 2 + (y - middleY) ** 2)) / (middleX ** 2 + middleY ** 2);
    for (const { xPx, yPx, diameterPx, depth, hole } of cast) {
      const r = Math.hypot(x - xPx, y - yPx);
      if (r > diameterPx) continue;
      const rim = (radius: number) => 0.5 * (1 - Math.tanh((r - radius) / (0.05 * diameterPx + 0.5)));
      level *= 1 - depth * (rim(diameterPx / 2) - (hole > 0 ? rim((hole * diameterPx) / 2) : 0));
    }
    return level * (1 + 0.005 * sensor.gauss() + 0.0015 * noise.gauss());
  });
  return { structure: smallStructure(levels, shape), shadows };
}

function told({
  says,
  shift,
  correlation,
  correlationAtZero,
  correlationExpected,
  move,
}: TrainMatch): string {
  return `${says}, shift ${shift.x.toFixed(2)}, ${shift.y.toFixed(2)} ±${shift.sigmaPx.toFixed(2)} px, correlation ${correlation.toFixed(3)} (at zero ${correlationAtZero.toFixed(3)}, expected ${correlationExpected.toFixed(3)}), turned ${move?.rotationDegrees.toFixed(3)} ±${move?.rotationSigmaDegrees.toFixed(3)}, apart ${move?.apart.length}`;
}
