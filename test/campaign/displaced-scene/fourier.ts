/** Complex pictures of side 2^n, for painting only: written apart from what the program measures with. */
export interface Complex {
  readonly re: Float64Array;
  readonly im: Float64Array;
}

export function complexPicture(side: number): Complex {
  return { re: new Float64Array(side * side), im: new Float64Array(side * side) };
}

const columnsAtOnce = 16;
/** Columns a power of two apart would fall into the same lines of the processor's cache. */
const gap = 8;

/** In place, rows then columns; backward with the factor 1 / side². */
export function transform(picture: Complex, side: number, direction: "forward" | "backward"): void {
  const turn = twiddles(side, direction === "forward" ? -1 : 1);
  const scale = direction === "forward" ? 1 : 1 / (side * side);
  for (let y = 0; y < side; y++) line(picture.re, picture.im, y * side, side, turn);
  const pitch = side + gap;
  const columns = {
    re: new Float64Array(columnsAtOnce * pitch),
    im: new Float64Array(columnsAtOnce * pitch),
  };
  for (let x = 0; x < side; x += columnsAtOnce) {
    takeColumns(picture.re, columns.re, x, side);
    takeColumns(picture.im, columns.im, x, side);
    for (let k = 0; k < columnsAtOnce; k++) line(columns.re, columns.im, k * pitch, side, turn);
    putColumns(picture.re, columns.re, x, side, scale);
    putColumns(picture.im, columns.im, x, side, scale);
  }
}

function takeColumns(picture: Float64Array, columns: Float64Array, x: number, side: number): void {
  for (let y = 0; y < side; y++)
    for (let k = 0; k < columnsAtOnce; k++) columns[k * (side + gap) + y] = picture[y * side + x + k]!;
}

function putColumns(
  picture: Float64Array,
  columns: Float64Array,
  x: number,
  side: number,
  scale: number,
): void {
  for (let y = 0; y < side; y++)
    for (let k = 0; k < columnsAtOnce; k++)
      picture[y * side + x + k] = columns[k * (side + gap) + y]! * scale;
}

interface Turn {
  readonly cos: Float64Array;
  readonly sin: Float64Array;
}

function twiddles(length: number, sign: number): Turn {
  const half = length >> 1;
  return {
    cos: Float64Array.from({ length: half }, (_, k) => Math.cos((2 * Math.PI * k) / length)),
    sin: Float64Array.from({ length: half }, (_, k) => sign * Math.sin((2 * Math.PI * k) / length)),
  };
}

/** Radix 2, decimation in time, of `n` from `at`. Source: J. W. Cooley and J. W. Tukey, Math. Comp. 19 (1965) 297. */
function line(re: Float64Array, im: Float64Array, at: number, n: number, turn: Turn): void {
  for (let i = 1, j = 0; i < n; i++) {
    let bit = n >> 1;
    for (; j & bit; bit >>= 1) j ^= bit;
    j ^= bit;
    if (i >= j) continue;
    const a = re[at + i]!;
    const b = im[at + i]!;
    re[at + i] = re[at + j]!;
    im[at + i] = im[at + j]!;
    re[at + j] = a;
    im[at + j] = b;
  }
  let size = 2;
  for (; 2 * size <= n; size <<= 2) twoSteps(re, im, at, n, size, turn);
  if (size <= n) oneStep(re, im, at, n, size, turn);
}

function oneStep(re: Float64Array, im: Float64Array, at: number, n: number, size: number, turn: Turn): void {
  const { cos, sin } = turn;
  const half = size >> 1;
  const stride = n / size;
  for (let start = at; start < at + n; start += size) {
    for (let k = 0; k < half; k++) {
      const c = cos[k * stride]!;
      const s = sin[k * stride]!;
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

/** The steps of `size` and of twice that, without a way through memory between them. */
function twoSteps(re: Float64Array, im: Float64Array, at: number, n: number, size: number, turn: Turn): void {
  const { cos, sin } = turn;
  const half = size >> 1;
  const stride = n / size;
  const quarter = n >> 2;
  for (let start = at; start < at + n; start += 2 * size) {
    for (let k = 0; k < half; k++) {
      const i = start + k;
      const j = i + half;
      const l = j + half;
      const m = l + half;
      let c = cos[k * stride]!;
      let s = sin[k * stride]!;
      let tr = re[j]! * c - im[j]! * s;
      let ti = re[j]! * s + im[j]! * c;
      const jr = re[i]! - tr;
      const ji = im[i]! - ti;
      const ir = re[i]! + tr;
      const ii = im[i]! + ti;
      tr = re[m]! * c - im[m]! * s;
      ti = re[m]! * s + im[m]! * c;
      const mr = re[l]! - tr;
      const mi = im[l]! - ti;
      const lr = re[l]! + tr;
      const li = im[l]! + ti;
      const fine = (k * stride) >> 1;
      c = cos[fine]!;
      s = sin[fine]!;
      tr = lr * c - li * s;
      ti = lr * s + li * c;
      re[l] = ir - tr;
      im[l] = ii - ti;
      re[i] = ir + tr;
      im[i] = ii + ti;
      c = cos[fine + quarter]!;
      s = sin[fine + quarter]!;
      tr = mr * c - mi * s;
      ti = mr * s + mi * c;
      re[m] = jr - tr;
      im[m] = ji - ti;
      re[j] = jr + tr;
      im[j] = ji + ti;
    }
  }
}
