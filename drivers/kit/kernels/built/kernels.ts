// Made by `npm run kernels` from the kernels' sources: do not edit.
type Exports = Readonly<Record<string, (...numbers: number[]) => number>>;

export const sourcesSum = "2027655cd830f2a6";

export const bindings = {
  "base64-decoding": (raw: Exports) => ({
    decode: raw.decode as (text: number, length: number) => number,
  }),
  "block-sums": (raw: Exports) => ({
    addRow: raw.addRow as (row: number, use: number, blocks: number, sums: number) => void,
  }),
  "box-blur": (raw: Exports) => ({
    across: (by: { from: number; into: number; bytes: number; width: number; radius: number }): void => {
      raw.across!(by.from, by.into, by.bytes, by.width, by.radius);
    },
    down: (by: { sums: number; enters: number; leaves: number; into: number; width: number; norm: number }): void => {
      raw.down!(by.sums, by.enters, by.leaves, by.into, by.width, by.norm);
    },
  }),
  "byte-order": (raw: Exports) => ({
    swap2: raw.swap2 as (at: number, length: number, flip: number) => void,
    swap4: raw.swap4 as (at: number, length: number, flip: number) => void,
    swap8: raw.swap8 as (at: number, length: number, flip: number) => void,
    sumWords: raw.sumWords as (at: number, length: number) => number,
  }),
  "combine-counts": (raw: Exports) => ({
    gather: (by: { from: number; strideBytes: number; frameCount: number; pxCount: number; to: number; columnBytes: number }): void => {
      raw.gather!(by.from, by.strideBytes, by.frameCount, by.pxCount, by.to, by.columnBytes);
    },
    rejectedValues: raw.rejectedValues as () => number,
    maskedPixels: raw.maskedPixels as () => number,
    begin: (by: { frameCount: number; how: number; reach: number; zeroAdu: number; medianNoise: number; clipLeast: number; madSigma: number; variance: number; slope: number; level: number; lanesAt: number; packedAt: number; valueAt: number; sigmaAt: number; maskAt: number; darkAt: number; darkSigmaAt: number }): void => {
      raw.begin!(by.frameCount, by.how, by.reach, by.zeroAdu, by.medianNoise, by.clipLeast, by.madSigma, by.variance, by.slope, by.level, by.lanesAt, by.packedAt, by.valueAt, by.sigmaAt, by.maskAt, by.darkAt, by.darkSigmaAt);
    },
    combineColumns: raw.combineColumns as (column: number, columnBytes: number, start: number, length: number) => void,
  }),
  "displaced-sweeps": (raw: Exports) => ({
    setFrame: (by: { logsAt: number; widthPx: number; heightPx: number; gridWidthPx: number; index: number; rightShare: number; lowerShare: number; frameWeight: number; rowAt: number; answerAt: number }): void => {
      raw.setFrame!(by.logsAt, by.widthPx, by.heightPx, by.gridWidthPx, by.index, by.rightShare, by.lowerShare, by.frameWeight, by.rowAt, by.answerAt);
    },
    count: raw.count as (gainCount: number, objectCount: number) => number,
    scatter: raw.scatter as (level: number, gain: number, objectSum: number) => void,
    gather: raw.gather as (level: number, gain: number, object: number, gainSum: number) => number,
    squares: raw.squares as (level: number, gain: number, object: number, squareSum: number) => number,
    normal: (by: { data: number; sign: number; level: number; gain: number; object: number; gainSum: number; objectSum: number }): number => {
      return raw.normal!(by.data, by.sign, by.level, by.gain, by.object, by.gainSum, by.objectSum);
    },
    shiftSums: raw.shiftSums as (level: number, gain: number, object: number, limit: number) => void,
  }),
  "fft-columns": (raw: Exports) => ({
    transformColumns: (by: { rows: number; rowStep: number; height: number; columns: number; radices: number; turnsAt: number; places: number; work: number; factor: number }): void => {
      raw.transformColumns!(by.rows, by.rowStep, by.height, by.columns, by.radices, by.turnsAt, by.places, by.work, by.factor);
    },
  }),
  "first-frames": (raw: Exports) => ({
    statistics: (by: { frames: number; frameBytes: number; factors: number; n: number; clip: number; length: number; dark: number; values: number; medians: number; variances: number; spreads: number }): number => {
      return raw.statistics!(by.frames, by.frameBytes, by.factors, by.n, by.clip, by.length, by.dark, by.values, by.medians, by.variances, by.spreads);
    },
  }),
  "flat-division": (raw: Exports) => ({
    place: (by: { imageAt: number; factorAt: number; darkAt: number; resultAt: number; storedAt: number; storedResultAt: number }): void => {
      raw.place!(by.imageAt, by.factorAt, by.darkAt, by.resultAt, by.storedAt, by.storedResultAt);
    },
    divide: raw.divide as (start: number, pedestal: number, length: number) => void,
    divideToCounts: raw.divideToCounts as (start: number, pedestal: number, length: number) => number,
    sumOf: raw.sumOf as (which: number) => number,
    mostOf: raw.mostOf as () => number,
    divideStoredToCounts: raw.divideStoredToCounts as (pedestal: number, length: number) => number,
    divideStored: raw.divideStored as (pedestal: number, length: number) => void,
  }),
  "frame-sums": (raw: Exports) => ({
    addFrames: (by: { frames: number; stride: number; frameCount: number; length: number; sums: number; lanes: number; totals: number }): void => {
      raw.addFrames!(by.frames, by.stride, by.frameCount, by.length, by.sums, by.lanes, by.totals);
    },
  }),
  "image-turning": (raw: Exports) => ({
    turnBytes: raw.turnBytes as (columns: number, rowCount: number, to: number, rowBytes: number) => number,
    turnHalves: raw.turnHalves as (columns: number, rowCount: number, to: number, rowBytes: number) => number,
    turnWords: raw.turnWords as (columns: number, rowCount: number, to: number, rowBytes: number) => number,
  }),
  "live-sums": (raw: Exports) => ({
    addFrames: (by: { framesAt: number; stride: number; factorsAt: number; frameCount: number; clip: number; length: number; dark: number; darkStep: number; reference: number; limit: number; sum: number; squares: number; rejected: number; clipped: number }): void => {
      raw.addFrames!(by.framesAt, by.stride, by.factorsAt, by.frameCount, by.clip, by.length, by.dark, by.darkStep, by.reference, by.limit, by.sum, by.squares, by.rejected, by.clipped);
    },
    setLimits: (by: { limit: number; reference: number; length: number; sigmas: number; step: number; below: number; last: number; times: number; least: number; unlike: number }): void => {
      raw.setLimits!(by.limit, by.reference, by.length, by.sigmas, by.step, by.below, by.last, by.times, by.least, by.unlike);
    },
  }),
};
