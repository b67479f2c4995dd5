/** Complex pictures of side 2^n, for painting only: written apart from what the program measures with. */
export interface Complex {
  readonly re: Float64Array;
  readonly im: Float64Array;
}

export function complexPicture(side: number): Complex {
  return { re: new Float64Array(side * side), im: new Float64Array(side * side) };
}

const columnsAtOnce = 16;

/** In place, rows then columns; backward with the factor 1 / side². */
export function transform(picture: Complex, side: number, direction: "forward" | "backward"): void {
  const turn = twiddles(side, direction === "forward" ? -1 : 1);
  const scale = direction === "forward" ? 1 : 1 / (side * side);
  for (let y = 0; y < side; y++) {
    line(picture.re.subarray(y * side, (y + 1) * side), picture.im.subarray(y * side, (y + 1) * side), turn);
  }
  const re = Array.from({ length: columnsAtOnce }, () => new Float64Array(side));
  const im = Array.from({ length: columnsAtOnce }, () => new Float64Array(side));
  for (let x = 0; x < side; x += columnsAtOnce) {
    for (let y = 0; y < side; y++) {
      for (let k = 0; k < columnsAtOnce; k++) {
        re[k]![y] = picture.re[y * side + x + k]!;
        im[k]![y] = picture.im[y * side + x + k]!;
      }
    }
    for (let k = 0; k < columnsAtOnce; k++) line(re[k]!, im[k]!, turn);
    for (let y = 0; y < side; y++) {
      for (let k = 0; k < columnsAtOnce; k++) {
        picture.re[y * side + x + k] = re[k]![y]! * scale;
        picture.im[y * side + x + k] = im[k]![y]! * scale;
      }
    }
  }
}

function twiddles(length: number, sign: number): { cos: Float64Array; sin: Float64Array } {
  const half = length >> 1;
  return {
    cos: Float64Array.from({ length: half }, (_, k) => Math.cos((2 * Math.PI * k) / length)),
    sin: Float64Array.from({ length: half }, (_, k) => sign * Math.sin((2 * Math.PI * k) / length)),
  };
}

/** Radix 2, decimation in time. Source: J. W. Cooley and J. W. Tukey, Math. Comp. 19 (1965) 297. */
function line(re: Float64Array, im: Float64Array, turn: { cos: Float64Array; sin: Float64Array }): void {
  const n = re.length;
  for (let i = 1, j = 0; i < n; i++) {
    let bit = n >> 1;
    for (; j & bit; bit >>= 1) j ^= bit;
    j ^= bit;
    if (i >= j) continue;
    const a = re[i]!;
    const b = im[i]!;
    re[i] = re[j]!;
    im[i] = im[j]!;
    re[j] = a;
    im[j] = b;
  }
  for (let size = 2; size <= n; size <<= 1) {
    const half = size >> 1;
    const stride = n / size;
    for (let start = 0; start < n; start += size) {
      for (let k = 0; k < half; k++) {
        const c = turn.cos[k * stride]!;
        const s = turn.sin[k * stride]!;
        const i = start + k;
        const j = i + half;
        const tr = re[j]! * c - im[j]! * s;
        const ti = re[j]! * s + im[j]! * c;
        re[j] = re[i]! - tr;
        im[j] = im[i]! - ti;
        re[i]! += tr;
        im[i]! += ti;
      }
    }
  }
}
