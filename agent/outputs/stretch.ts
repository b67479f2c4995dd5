export interface Stretch {
  /** Share of pixels that may be black and white. Default 0.1 % each. */
  readonly blackFraction?: number;
  readonly whiteFraction?: number;
}

/** Levels between which a picture is spread from black to white. */
export interface LevelRange {
  readonly black: number;
  readonly white: number;
}

/**
 * Levels that leave these shares of the pixels black and white, from about 100 000 pixels spread over the picture.
 * @returns `undefined` when no pixel is a number
 */
export function percentileRange(pixels: ArrayLike<number>, stretch: Stretch = {}): LevelRange | undefined {
  const { blackFraction = 0.001, whiteFraction = 0.001 } = stretch;
  const every = Math.max(1, Math.floor(pixels.length / 100_000)) | 1; // odd, so that it drifts over the columns
  const sample = new Float64Array(Math.ceil(pixels.length / every));
  let count = 0;
  for (let i = 0; i < pixels.length; i += every)
    if (Number.isFinite(pixels[i]!)) sample[count++] = pixels[i]!;
  if (count === 0) return undefined;
  const sorted = sample.subarray(0, count).sort();
  return {
    black: sorted[Math.round(blackFraction * (count - 1))]!,
    white: sorted[Math.round((1 - whiteFraction) * (count - 1))]!,
  };
}

/** Grey bytes, 0 at `black` and below (and for what is no number), 255 at `white` and above. */
export function toGrey(pixels: Uint16Array | Float32Array, range: LevelRange): Uint8Array {
  return pixels instanceof Uint16Array ? greyFromUint16(pixels, range) : greyFromFloat32(pixels, range);
}

/** By table: every code once. */
function greyFromUint16(pixels: Uint16Array, range: LevelRange): Uint8Array {
  const table = new Uint8Array(65536);
  for (let code = 0; code < 65536; code++) table[code] = greyOf(code, range);
  const grey = new Uint8Array(pixels.length);
  for (let i = 0; i < grey.length; i++) grey[i] = table[pixels[i]!]!;
  return grey;
}

function greyFromFloat32(pixels: Float32Array, range: LevelRange): Uint8Array {
  const grey = new Uint8Array(pixels.length);
  for (let i = 0; i < grey.length; i++) grey[i] = greyOf(pixels[i]!, range);
  return grey;
}

function greyOf(level: number, { black, white }: LevelRange): number {
  const share = white > black ? (level - black) / (white - black) : level > black ? 1 : 0;
  return share > 0 ? Math.min(255, Math.floor(share * 255 + 0.5)) : 0; // not a number is not above 0
}
