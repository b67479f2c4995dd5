// Complex Fourier transforms of columns, four at a time, one in each lane: see agent/imaging/numerics/fft-columns.ts.
// Addresses and steps are in bytes. Between the first and the last pass a number is a vector of four real parts and one
// of four imaginary ones: 32 bytes.
//
// A pass of radix r makes of each block of n = r · m numbers r blocks of m, in place:
//   x[p + k m] becomes exp(-2πi k p / n) · sum over j of x[p + j m] · exp(-2πi j k / r)
// and the last one puts each number into the row where it belongs. After the first pass each quarter goes all the way by
// itself, in the innermost cache. Source: decimation in frequency, W. M. Gentleman and G. Sande, AFIPS Proc. FJCC 29
// (1966) 563 (from memory).

/** exp(-2πi k / N) for all k, N being the length of the whole. */
let turns: usize = 0;

/** So that quarters, and groups of four columns, do not all fall into the same places of the cache. */
const quarterRoom: usize = 256,
  fourRoom: usize = 64;

/** From four columns to the next four where they are worked on; `m` is a quarter's length. */
function fourStep(m: usize): usize {
  return 4 * ((m << 5) + quarterRoom) + fourRoom;
}

function turnRe(k: usize): v128 {
  return v128.load32_splat(turns + (k << 3));
}

function turnIm(k: usize): v128 {
  return v128.load32_splat(turns + (k << 3), 4);
}

function put(at: usize, re: v128, im: v128): void {
  v128.store(at, re);
  v128.store(at, im, 16);
}

/** Stores a number times c + i d. */
function putTurned(at: usize, re: v128, im: v128, c: v128, d: v128): void {
  put(at, f32x4.sub(f32x4.mul(re, c), f32x4.mul(im, d)), f32x4.add(f32x4.mul(re, d), f32x4.mul(im, c)));
}

/** Real parts of four numbers that lie as pairs. */
function realParts(at: usize): v128 {
  return v128.shuffle<f32>(v128.load(at), v128.load(at, 16), 0, 2, 4, 6);
}

function imaginaryParts(at: usize): v128 {
  return v128.shuffle<f32>(v128.load(at), v128.load(at, 16), 1, 3, 5, 7);
}

function putPairs(at: usize, re: v128, im: v128, factor: v128): void {
  re = f32x4.mul(re, factor);
  im = f32x4.mul(im, factor);
  v128.store(at, v128.shuffle<f32>(re, im, 0, 4, 1, 5));
  v128.store(at, v128.shuffle<f32>(re, im, 2, 6, 3, 7), 16);
}

/** Radix 4 from the picture's rows into the quarters of each four columns. */
function firstPass(rows: usize, rowStep: usize, work: usize, m: usize, fours: i32): void {
  const apartRows = m * rowStep,
    apart = (m << 5) + quarterRoom,
    step = fourStep(m);
  for (let p: usize = 0; p < m; p++) {
    const w1Re = turnRe(p),
      w1Im = turnIm(p),
      w2Re = turnRe(2 * p),
      w2Im = turnIm(2 * p);
    const w3Re = turnRe(3 * p),
      w3Im = turnIm(3 * p);
    let a = rows,
      x = work;
    for (const end = a + ((<usize>fours) << 5); a < end; a += 32) {
      const b = a + apartRows,
        c = b + apartRows,
        d = c + apartRows;
      const aRe = realParts(a),
        aIm = imaginaryParts(a),
        cRe = realParts(c),
        cIm = imaginaryParts(c);
      const bRe = realParts(b),
        bIm = imaginaryParts(b),
        dRe = realParts(d),
        dIm = imaginaryParts(d);
      const acRe = f32x4.add(aRe, cRe),
        acIm = f32x4.add(aIm, cIm);
      const bdRe = f32x4.add(bRe, dRe),
        bdIm = f32x4.add(bIm, dIm);
      put(x, f32x4.add(acRe, bdRe), f32x4.add(acIm, bdIm));
      putTurned(x + 2 * apart, f32x4.sub(acRe, bdRe), f32x4.sub(acIm, bdIm), w2Re, w2Im);
      const awayRe = f32x4.sub(aRe, cRe),
        awayIm = f32x4.sub(aIm, cIm);
      const acrossRe = f32x4.sub(bRe, dRe),
        acrossIm = f32x4.sub(bIm, dIm);
      putTurned(x + apart, f32x4.add(awayRe, acrossIm), f32x4.sub(awayIm, acrossRe), w1Re, w1Im);
      putTurned(x + 3 * apart, f32x4.sub(awayRe, acrossIm), f32x4.add(awayIm, acrossRe), w3Re, w3Im);
      x += step;
    }
    rows += rowStep;
    work += 32;
  }
}

/** Of all blocks from `x` to `end`; `slice` is N over the block's length. */
function pass4(x: usize, end: usize, m: usize, slice: usize): void {
  const apart = m << 5,
    block = apart << 2;
  for (let p: usize = 0; p < m; p++) {
    const turn = p * slice;
    const w1Re = turnRe(turn),
      w1Im = turnIm(turn),
      w2Re = turnRe(2 * turn),
      w2Im = turnIm(2 * turn);
    const w3Re = turnRe(3 * turn),
      w3Im = turnIm(3 * turn);
    for (let a = x + (p << 5); a < end; a += block) {
      const b = a + apart,
        c = b + apart,
        d = c + apart;
      const aRe = v128.load(a),
        aIm = v128.load(a, 16),
        cRe = v128.load(c),
        cIm = v128.load(c, 16);
      const bRe = v128.load(b),
        bIm = v128.load(b, 16),
        dRe = v128.load(d),
        dIm = v128.load(d, 16);
      const acRe = f32x4.add(aRe, cRe),
        acIm = f32x4.add(aIm, cIm);
      const bdRe = f32x4.add(bRe, dRe),
        bdIm = f32x4.add(bIm, dIm);
      put(a, f32x4.add(acRe, bdRe), f32x4.add(acIm, bdIm));
      putTurned(c, f32x4.sub(acRe, bdRe), f32x4.sub(acIm, bdIm), w2Re, w2Im);
      const awayRe = f32x4.sub(aRe, cRe),
        awayIm = f32x4.sub(aIm, cIm);
      const acrossRe = f32x4.sub(bRe, dRe),
        acrossIm = f32x4.sub(bIm, dIm);
      putTurned(b, f32x4.add(awayRe, acrossIm), f32x4.sub(awayIm, acrossRe), w1Re, w1Im);
      putTurned(d, f32x4.sub(awayRe, acrossIm), f32x4.add(awayIm, acrossRe), w3Re, w3Im);
    }
  }
}

function pass2(x: usize, end: usize, m: usize, slice: usize): void {
  const apart = m << 5,
    block = apart << 1;
  for (let p: usize = 0; p < m; p++) {
    const wRe = turnRe(p * slice),
      wIm = turnIm(p * slice);
    for (let a = x + (p << 5); a < end; a += block) {
      const b = a + apart;
      const aRe = v128.load(a),
        aIm = v128.load(a, 16),
        bRe = v128.load(b),
        bIm = v128.load(b, 16);
      put(a, f32x4.add(aRe, bRe), f32x4.add(aIm, bIm));
      putTurned(b, f32x4.sub(aRe, bRe), f32x4.sub(aIm, bIm), wRe, wIm);
    }
  }
}

function pass3(x: usize, end: usize, m: usize, slice: usize): void {
  const apart = m << 5,
    block = 3 * apart;
  const half = f32x4.splat(0.5),
    sin60 = f32x4.splat(0.8660254037844386);
  for (let p: usize = 0; p < m; p++) {
    const turn = p * slice;
    const w1Re = turnRe(turn),
      w1Im = turnIm(turn),
      w2Re = turnRe(2 * turn),
      w2Im = turnIm(2 * turn);
    for (let a = x + (p << 5); a < end; a += block) {
      const b = a + apart,
        c = b + apart;
      const aRe = v128.load(a),
        aIm = v128.load(a, 16),
        bRe = v128.load(b),
        bIm = v128.load(b, 16);
      const cRe = v128.load(c),
        cIm = v128.load(c, 16);
      const sumRe = f32x4.add(bRe, cRe),
        sumIm = f32x4.add(bIm, cIm);
      const midRe = f32x4.sub(aRe, f32x4.mul(sumRe, half)),
        midIm = f32x4.sub(aIm, f32x4.mul(sumIm, half));
      const offRe = f32x4.mul(f32x4.sub(bRe, cRe), sin60),
        offIm = f32x4.mul(f32x4.sub(bIm, cIm), sin60);
      put(a, f32x4.add(aRe, sumRe), f32x4.add(aIm, sumIm));
      putTurned(b, f32x4.add(midRe, offIm), f32x4.sub(midIm, offRe), w1Re, w1Im);
      putTurned(c, f32x4.sub(midRe, offIm), f32x4.add(midIm, offRe), w2Re, w2Im);
    }
  }
}

/** v + s·a + t·b */
function sum3(v: v128, a: v128, s: f32, b: v128, t: f32): v128 {
  return f32x4.add(v, f32x4.add(f32x4.mul(a, f32x4.splat(s)), f32x4.mul(b, f32x4.splat(t))));
}

function pass5(x: usize, end: usize, m: usize, slice: usize): void {
  const cos72: f32 = 0.30901699437494745,
    sin72: f32 = 0.9510565162951535;
  const cos144: f32 = -0.8090169943749475,
    sin144: f32 = 0.5877852522924731;
  const apart = m << 5,
    block = 5 * apart,
    none = f32x4.splat(0);
  for (let p: usize = 0; p < m; p++) {
    const turn = p * slice;
    for (let a = x + (p << 5); a < end; a += block) {
      const b = a + apart,
        c = b + apart,
        d = c + apart,
        e = d + apart;
      const aRe = v128.load(a),
        aIm = v128.load(a, 16);
      const beRe = f32x4.add(v128.load(b), v128.load(e)),
        beIm = f32x4.add(v128.load(b, 16), v128.load(e, 16));
      const cdRe = f32x4.add(v128.load(c), v128.load(d)),
        cdIm = f32x4.add(v128.load(c, 16), v128.load(d, 16));
      const eRe = f32x4.sub(v128.load(b), v128.load(e)),
        eIm = f32x4.sub(v128.load(b, 16), v128.load(e, 16));
      const dRe = f32x4.sub(v128.load(c), v128.load(d)),
        dIm = f32x4.sub(v128.load(c, 16), v128.load(d, 16));
      put(a, f32x4.add(aRe, f32x4.add(beRe, cdRe)), f32x4.add(aIm, f32x4.add(beIm, cdIm)));
      const nearRe = sum3(aRe, beRe, cos72, cdRe, cos144),
        nearIm = sum3(aIm, beIm, cos72, cdIm, cos144);
      const nearOffRe = sum3(none, eRe, sin72, dRe, sin144),
        nearOffIm = sum3(none, eIm, sin72, dIm, sin144);
      putTurned(b, f32x4.add(nearRe, nearOffIm), f32x4.sub(nearIm, nearOffRe), turnRe(turn), turnIm(turn));
      putTurned(
        e,
        f32x4.sub(nearRe, nearOffIm),
        f32x4.add(nearIm, nearOffRe),
        turnRe(4 * turn),
        turnIm(4 * turn),
      );
      const farRe = sum3(aRe, beRe, cos144, cdRe, cos72),
        farIm = sum3(aIm, beIm, cos144, cdIm, cos72);
      const farOffRe = sum3(none, eRe, sin144, dRe, -sin72),
        farOffIm = sum3(none, eIm, sin144, dIm, -sin72);
      putTurned(
        c,
        f32x4.add(farRe, farOffIm),
        f32x4.sub(farIm, farOffRe),
        turnRe(2 * turn),
        turnIm(2 * turn),
      );
      putTurned(
        d,
        f32x4.sub(farRe, farOffIm),
        f32x4.add(farIm, farOffRe),
        turnRe(3 * turn),
        turnIm(3 * turn),
      );
    }
  }
}

/** Radix 4 from one quarter of each four columns into the picture's rows, times `factor`. */
function lastPass(quarter: usize, m: usize, fours: i32, places: usize, rows: usize, factor: v128): void {
  const step = fourStep(m);
  for (const quarterEnd = quarter + (m << 5); quarter < quarterEnd; quarter += 128) {
    let a = rows + load<u32>(places),
      b = rows + load<u32>(places, 4);
    let c = rows + load<u32>(places, 8),
      d = rows + load<u32>(places, 12);
    let x = quarter;
    for (const end = a + ((<usize>fours) << 5); a < end; a += 32) {
      const aRe = v128.load(x),
        aIm = v128.load(x, 16),
        bRe = v128.load(x, 32),
        bIm = v128.load(x, 48);
      const cRe = v128.load(x, 64),
        cIm = v128.load(x, 80),
        dRe = v128.load(x, 96),
        dIm = v128.load(x, 112);
      const acRe = f32x4.add(aRe, cRe),
        acIm = f32x4.add(aIm, cIm);
      const bdRe = f32x4.add(bRe, dRe),
        bdIm = f32x4.add(bIm, dIm);
      const awayRe = f32x4.sub(aRe, cRe),
        awayIm = f32x4.sub(aIm, cIm);
      const acrossRe = f32x4.sub(bRe, dRe),
        acrossIm = f32x4.sub(bIm, dIm);
      putPairs(a, f32x4.add(acRe, bdRe), f32x4.add(acIm, bdIm), factor);
      putPairs(b, f32x4.add(awayRe, acrossIm), f32x4.sub(awayIm, acrossRe), factor);
      putPairs(c, f32x4.sub(acRe, bdRe), f32x4.sub(acIm, bdIm), factor);
      putPairs(d, f32x4.sub(awayRe, acrossIm), f32x4.add(awayIm, acrossRe), factor);
      b += 32;
      c += 32;
      d += 32;
      x += step;
    }
    places += 16;
  }
}

/**
 * Transforms columns of complex numbers in place.
 * @param rows pairs of f32; `rowStep` from one row to the next, with room for a multiple of four columns
 * @param height a multiple of 16
 * @param radices u8, between the first 4 and the last 4: their product is height / 16; ended by 0
 * @param turnsAt exp(-2πi k / height) for all k, pairs of f32
 * @param places u32, from the first row to that of each number behind the last pass
 * @param work 128 bytes for each row, and 4352 more
 * @param factor of the result
 */
export function transformColumns(
  rows: usize,
  rowStep: usize,
  height: i32,
  columns: i32,
  radices: usize,
  turnsAt: usize,
  places: usize,
  work: usize,
  factor: f32,
): void {
  turns = turnsAt;
  const by = f32x4.splat(factor),
    whole: usize = height / 4,
    quarterBytes = whole << 5;
  for (let left = (columns + 3) / 4; left > 0; left -= 4) {
    const fours = left < 4 ? left : 4;
    firstPass(rows, rowStep, work, whole, fours);
    for (let part: usize = 0; part < 4; part++) {
      const quarter = work + part * (quarterBytes + quarterRoom);
      for (let four = 0; four < fours; four++) {
        const from = quarter + <usize>four * fourStep(whole),
          end = from + quarterBytes;
        let m = whole,
          slice: usize = 4;
        for (let at = radices; load<u8>(at) !== 0; at++) {
          const radix = <usize>load<u8>(at);
          m /= radix;
          if (radix === 4) pass4(from, end, m, slice);
          else if (radix === 2) pass2(from, end, m, slice);
          else if (radix === 3) pass3(from, end, m, slice);
          else pass5(from, end, m, slice);
          slice *= radix;
        }
      }
      lastPass(quarter, whole, fours, places + part * (whole << 2), rows, by);
    }
    rows += 128;
  }
}
