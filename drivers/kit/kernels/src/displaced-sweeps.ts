// The loops of agent/imaging/displaced/sweep-kernels.ts, which says what they do, four pixels at a time.
// Addresses are in bytes. Arrays have room for eight floats behind their end.

const noLog: i32 = -32768;
const logUnit: f32 = 1e-4;

let logs: usize = 0;
let width: i32 = 0;
let height: i32 = 0;
let gridBytes: usize = 0;
let firstPixel: usize = 0;
let right: f32 = 0;
let lower: f32 = 0;
let weight: f32 = 1;
/** A row of values with four zeros before and eight behind. */
let row: usize = 0;
/** Five doubles. */
let answer: usize = 0;

export function setFrame(
  logsAt: usize,
  widthPx: i32,
  heightPx: i32,
  gridWidthPx: i32,
  index: i32,
  rightShare: f32,
  lowerShare: f32,
  frameWeight: f32,
  rowAt: usize,
  answerAt: usize,
): void {
  logs = logsAt;
  width = widthPx;
  height = heightPx;
  gridBytes = (<usize>gridWidthPx) << 2;
  firstPixel = (<usize>index) << 2;
  right = rightShare;
  lower = lowerShare;
  weight = frameWeight;
  row = rowAt;
  answer = answerAt;
  const none = f32x4.splat(0);
  v128.store(row, none);
  const end = row + 16 + ((<usize>width) << 2);
  v128.store(end, none);
  v128.store(end, none, 16);
}

function validLanes(units: v128): v128 {
  return i32x4.ne(units, i32x4.splat(noLog));
}

function sum4(lanes: v128): f64 {
  return (
    <f64>f32x4.extract_lane(lanes, 0) +
    <f64>f32x4.extract_lane(lanes, 1) +
    <f64>f32x4.extract_lane(lanes, 2) +
    <f64>f32x4.extract_lane(lanes, 3)
  );
}

/** onto += transpose of bilinear sampling of the row. */
function spread(onto: usize, y: i32): void {
  const rightShare = f32x4.splat(right);
  const leftShare = f32x4.splat(<f32>1 - right);
  const lowerShare = f32x4.splat(lower);
  const upperShare = f32x4.splat(<f32>1 - lower);
  let above = onto + firstPixel + <usize>y * gridBytes;
  let below = above + gridBytes;
  let from = row + 16;
  const end = from + ((<usize>width) << 2);
  while (from <= end) {
    const t = f32x4.add(f32x4.mul(leftShare, v128.load(from)), f32x4.mul(rightShare, v128.load(from - 4)));
    v128.store(above, f32x4.add(v128.load(above), f32x4.mul(upperShare, t)));
    v128.store(below, f32x4.add(v128.load(below), f32x4.mul(lowerShare, t)));
    from += 16;
    above += 16;
    below += 16;
  }
}

export function count(gainCount: usize, objectCount: usize): f64 {
  const one = f32x4.splat(weight);
  let total: f64 = 0;
  let from = logs;
  let to = gainCount;
  for (let y = 0; y < height; y++) {
    let put = row + 16;
    let x = 0;
    let lanes = f32x4.splat(0);
    for (; x + 4 <= width; x += 4) {
      const valid = v128.and(validLanes(v128.load16x4_s(from)), one);
      v128.store(put, valid);
      v128.store(to, f32x4.add(v128.load(to), valid));
      lanes = f32x4.add(lanes, valid);
      from += 8;
      to += 16;
      put += 16;
    }
    for (; x < width; x++) {
      const valid: f32 = <i32>load<i16>(from) !== noLog ? weight : 0;
      store<f32>(put, valid);
      store<f32>(to, load<f32>(to) + valid);
      total += <f64>valid;
      from += 2;
      to += 4;
      put += 4;
    }
    total += sum4(lanes);
    spread(objectCount, y);
  }
  return total;
}

export function scatter(level: f32, gain: usize, objectSum: usize): void {
  const unit = f32x4.splat(logUnit);
  const levels = f32x4.splat(level);
  const weights = f32x4.splat(weight);
  let from = logs;
  let at = gain;
  for (let y = 0; y < height; y++) {
    let put = row + 16;
    let x = 0;
    for (; x + 4 <= width; x += 4) {
      const units = v128.load16x4_s(from);
      const q = f32x4.sub(f32x4.sub(f32x4.mul(f32x4.convert_i32x4_s(units), unit), levels), v128.load(at));
      v128.store(put, v128.and(f32x4.mul(weights, q), validLanes(units)));
      from += 8;
      at += 16;
      put += 16;
    }
    for (; x < width; x++) {
      const units = <i32>load<i16>(from);
      store<f32>(put, units === noLog ? 0 : weight * (<f32>units * logUnit - level - load<f32>(at)));
      from += 2;
      at += 4;
      put += 4;
    }
    spread(objectSum, y);
  }
}

function seen4(above: usize, below: usize): v128 {
  const rightShare = f32x4.splat(right);
  const leftShare = f32x4.splat(<f32>1 - right);
  const a = f32x4.add(f32x4.mul(leftShare, v128.load(above)), f32x4.mul(rightShare, v128.load(above, 4)));
  const b = f32x4.add(f32x4.mul(leftShare, v128.load(below)), f32x4.mul(rightShare, v128.load(below, 4)));
  return f32x4.add(f32x4.mul(f32x4.splat(<f32>1 - lower), a), f32x4.mul(f32x4.splat(lower), b));
}

function seen1(above: usize, below: usize): f32 {
  const a = (<f32>1 - right) * load<f32>(above) + right * load<f32>(above, 4);
  const b = (<f32>1 - right) * load<f32>(below) + right * load<f32>(below, 4);
  return (<f32>1 - lower) * a + lower * b;
}

// What a sweep sums stands as a type, so that each has a loop of its own.
type Residuals = u8;
type Squares = u16;
type Equations = u32;

/** gainSum += w q. Returns Σ w q. */
export function gather(level: f32, gain: usize, object: usize, gainSum: usize): f64 {
  return sweep<Residuals>(1, 1, level, gain, object, gainSum, 0);
}

/** squareSum += w q². Returns Σ w q². */
export function squares(level: f32, gain: usize, object: usize, squareSum: usize): f64 {
  return sweep<Squares>(1, 1, level, gain, object, squareSum, 0);
}

export function normal(
  data: f32,
  sign: f32,
  level: f32,
  gain: usize,
  object: usize,
  gainSum: usize,
  objectSum: usize,
): f64 {
  return sweep<Equations>(data, sign, level, gain, object, gainSum, objectSum);
}

/** With q = data · D - sign · (c + G + T O); only of equations by other factors than 1, and spread over the object. */
function sweep<Sum>(
  data: f32,
  sign: f32,
  level: f32,
  gain: usize,
  object: usize,
  sums: usize,
  objectSum: usize,
): f64 {
  const isOfEquations = sizeof<Sum>() === sizeof<Equations>();
  const unit = f32x4.splat(data * logUnit);
  const signs = f32x4.splat(sign);
  const levels = f32x4.splat(level);
  const weights = f32x4.splat(weight);
  let total: f64 = 0;
  let from = logs;
  let at: usize = 0;
  for (let y = 0; y < height; y++) {
    let above = object + firstPixel + <usize>y * gridBytes;
    let put = row + 16;
    let x = 0;
    let lanes = f32x4.splat(0);
    for (; x + 4 <= width; x += 4) {
      const units = v128.load16x4_s(from);
      const model = f32x4.add(v128.load(gain + at), f32x4.add(levels, seen4(above, above + gridBytes)));
      const modelled = isOfEquations ? f32x4.mul(signs, model) : model;
      const off = f32x4.sub(f32x4.mul(f32x4.convert_i32x4_s(units), unit), modelled);
      const value = sizeof<Sum>() === sizeof<Squares>() ? f32x4.mul(off, off) : off;
      const q = v128.and(f32x4.mul(weights, value), validLanes(units));
      if (isOfEquations) v128.store(put, q);
      v128.store(sums + at, f32x4.add(v128.load(sums + at), q));
      lanes = f32x4.add(lanes, q);
      from += 8;
      at += 16;
      above += 16;
      put += 16;
    }
    for (; x < width; x++) {
      const units = <i32>load<i16>(from);
      let q: f32 = 0;
      if (units !== noLog) {
        const model = level + load<f32>(gain + at) + seen1(above, above + gridBytes);
        const off = <f32>units * (data * logUnit) - sign * model;
        q = weight * off;
        if (sizeof<Sum>() === sizeof<Squares>()) q *= off;
        store<f32>(sums + at, load<f32>(sums + at) + q);
        total += <f64>q;
      }
      if (isOfEquations) store<f32>(put, q);
      from += 2;
      at += 4;
      above += 4;
      put += 4;
    }
    total += sum4(lanes);
    if (isOfEquations) spread(objectSum, y);
  }
  return total;
}

/** Leaves Σ q gx, Σ q gy, Σ gx gx, Σ gx gy, Σ gy gy at `answer`. */
export function shiftSums(level: f32, gain: usize, object: usize, limit: f32): void {
  const unit = f32x4.splat(logUnit);
  const levels = f32x4.splat(level);
  const rightShare = f32x4.splat(right);
  const leftShare = f32x4.splat(<f32>1 - right);
  const lowerShare = f32x4.splat(lower);
  const upperShare = f32x4.splat(<f32>1 - lower);
  const most = f32x4.splat(limit);
  const least = f32x4.splat(-limit);
  let rx: f64 = 0,
    ry: f64 = 0,
    xx: f64 = 0,
    xy: f64 = 0,
    yy: f64 = 0;
  let from = logs;
  let at = gain;
  for (let y = 0; y < height; y++) {
    let above = object + firstPixel + <usize>y * gridBytes;
    let x = 0;
    let rx4 = f32x4.splat(0),
      ry4 = f32x4.splat(0);
    let xx4 = f32x4.splat(0),
      xy4 = f32x4.splat(0),
      yy4 = f32x4.splat(0);
    for (; x + 4 <= width; x += 4) {
      const units = v128.load16x4_s(from);
      const valid = validLanes(units);
      const below = above + gridBytes;
      const a = v128.load(above),
        b = v128.load(above, 4),
        c = v128.load(below),
        d = v128.load(below, 4);
      const upper = f32x4.add(f32x4.mul(leftShare, a), f32x4.mul(rightShare, b));
      const under = f32x4.add(f32x4.mul(leftShare, c), f32x4.mul(rightShare, d));
      const seen = f32x4.add(f32x4.mul(upperShare, upper), f32x4.mul(lowerShare, under));
      const model = f32x4.add(v128.load(at), f32x4.add(levels, seen));
      let q = f32x4.sub(f32x4.mul(f32x4.convert_i32x4_s(units), unit), model);
      q = f32x4.pmax(f32x4.pmin(q, most), least);
      const gx = v128.and(
        valid,
        f32x4.add(f32x4.mul(upperShare, f32x4.sub(b, a)), f32x4.mul(lowerShare, f32x4.sub(d, c))),
      );
      const gy = v128.and(valid, f32x4.sub(under, upper));
      rx4 = f32x4.add(rx4, f32x4.mul(q, gx));
      ry4 = f32x4.add(ry4, f32x4.mul(q, gy));
      xx4 = f32x4.add(xx4, f32x4.mul(gx, gx));
      xy4 = f32x4.add(xy4, f32x4.mul(gx, gy));
      yy4 = f32x4.add(yy4, f32x4.mul(gy, gy));
      from += 8;
      at += 16;
      above += 16;
    }
    for (; x < width; x++) {
      const units = <i32>load<i16>(from);
      if (units !== noLog) {
        const below = above + gridBytes;
        const a = load<f32>(above),
          b = load<f32>(above, 4),
          c = load<f32>(below),
          d = load<f32>(below, 4);
        const upper = (<f32>1 - right) * a + right * b;
        const under = (<f32>1 - right) * c + right * d;
        let q = <f32>units * logUnit - (level + load<f32>(at) + (<f32>1 - lower) * upper + lower * under);
        if (q > limit) q = limit;
        if (q < -limit) q = -limit;
        const gx = (<f32>1 - lower) * (b - a) + lower * (d - c);
        const gy = under - upper;
        rx += <f64>(q * gx);
        ry += <f64>(q * gy);
        xx += <f64>(gx * gx);
        xy += <f64>(gx * gy);
        yy += <f64>(gy * gy);
      }
      from += 2;
      at += 4;
      above += 4;
    }
    rx += sum4(rx4);
    ry += sum4(ry4);
    xx += sum4(xx4);
    xy += sum4(xy4);
    yy += sum4(yy4);
  }
  store<f64>(answer, rx);
  store<f64>(answer, ry, 8);
  store<f64>(answer, xx, 16);
  store<f64>(answer, xy, 24);
  store<f64>(answer, yy, 32);
}
