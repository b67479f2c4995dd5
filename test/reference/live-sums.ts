import {
  type LiveSums,
  type MakeSums,
  rejectSigma,
  sigmaLeast,
  unlikePeers,
} from "../../agent/imaging/combining/live-sums.ts";
import { varianceAtLevel } from "../../agent/imaging/noise/noise-by-level.ts";
import { plainStatistics } from "./first-frames.ts";

/** In plain TypeScript, every step in float32: what the compiled one is held to. */
export const plainSums: MakeSums = (pxCount, withDark) => {
  const reals = () => new Float32Array(pxCount);
  const counts = () => new Uint16Array(pxCount);
  const dark = withDark ? reals() : undefined;
  const [reference, limit, sum, squares] = [reals(), reals(), reals(), reals()];
  const [rejected, clipped] = [counts(), counts()];
  const noDark = new Float32Array(1);
  const plain: LiveSums = {
    ...{ dark, reference, limit, sum, squares, rejected, clipped },
    begin(frames, clipAdu, sigmas, fromPx, toPx) {
      const parts = frames.map(({ pixels, scale }) => ({ pixels: pixels.subarray(fromPx, toPx), scale }));
      const darks = dark?.subarray(fromPx, toPx) ?? new Float32Array(toPx - fromPx);
      const { medians, spreads } = plainStatistics(parts, darks, clipAdu);
      reference.set(medians, fromPx);
      limit.set(spreads, fromPx);
      plain.setLimits(sigmas, fromPx, toPx);
      plain.add(frames, clipAdu, fromPx, toPx);
    },
    add(frames, clipAdu, fromPx, toPx) {
      const factors = Float32Array.from(frames, ({ scale }) => 1 / scale);
      const [darks, darkStep] = dark ? [dark, 1] : [noDark, 0];
      for (let i = fromPx; i < toPx; i++) {
        const most = Math.fround(limit[i]! * limit[i]!);
        let [total, square] = [0, 0];
        for (let f = 0; f < frames.length; f++) {
          const raw = frames[f]!.pixels[i]!;
          if (raw >= clipAdu) {
            clipped[i]!++;
            continue;
          }
          const light = Math.fround(Math.fround(raw - darks[i * darkStep]!) * factors[f]!);
          const d = Math.fround(light - reference[i]!);
          const q = Math.fround(d * d);
          if (q <= most) {
            total = Math.fround(total + d);
            square = Math.fround(square + q);
          } else rejected[i]!++;
        }
        sum[i]! += total;
        squares[i]! += square;
      }
    },
    setLimits(sigmas, fromPx, toPx) {
      for (let i = fromPx; i < toPx; i++)
        limit[i] =
          Math.fround(rejectSigma) *
          Math.max(ownOrPeers(limit[i]!, varianceAtLevel(sigmas, reference[i]!)), Math.fround(sigmaLeast));
    },
    [Symbol.dispose]() {},
  };
  return plain;
};

function ownOrPeers(own: number, peers: number): number {
  return own > Math.fround(peers * unlikePeers) ? own : peers;
}
