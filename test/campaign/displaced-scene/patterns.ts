interface Place {
  readonly x: number;
  readonly y: number;
}

/** Places of the Sun in `count` frames, within `reachPx` of the middle. */
export const patterns = {
  spiral: (count: number, reachPx: number) =>
    places(count, (i) => {
      const r = reachPx * Math.sqrt((i + 0.5) / count);
      const angle = (i + 0.5) * Math.PI * (3 - Math.sqrt(5)) + 0.3;
      return { x: r * Math.cos(angle), y: r * Math.sin(angle) };
    }),
  circle: (count: number, reachPx: number) =>
    places(count, (i) => {
      // Every seventh place, so that time and place do not go together.
      const angle = (2 * Math.PI * ((7 * i) % count)) / count;
      return { x: reachPx * Math.cos(angle), y: reachPx * Math.sin(angle) };
    }),
  grid: (count: number, reachPx: number) => {
    const side = Math.ceil(Math.sqrt(count));
    return places(count, (i) => {
      const k = (19 * i) % (side * side);
      const at = (step: number) => reachPx * 0.75 * ((2 * step) / (side - 1) - 1);
      return { x: at(k % side), y: at(Math.floor(k / side)) };
    });
  },
  lissajous: (count: number, reachPx: number) =>
    places(count, (i) => {
      const t = (2 * Math.PI * i) / count;
      return { x: reachPx * Math.sin(5 * t), y: reachPx * Math.sin(7 * t + 0.5) };
    }),
  line: (count: number, reachPx: number) =>
    places(count, (i) => ({ x: reachPx * ((2 * ((7 * i) % count)) / (count - 1) - 1), y: 0 })),
} as const;

function places(count: number, at: (i: number) => Place): Place[] {
  return Array.from({ length: count }, (_, i) => at(i));
}
