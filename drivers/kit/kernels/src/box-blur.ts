// Box filters in a row, as a Gaussian blur wants them: see agent/imaging/numerics/gaussian-blur.ts.

/**
 * A box along four rows at once: each row's running sum waits for its last addition, so that four take as long as one.
 * @param from, into f32, four rows `bytes` apart; outside a row there is nothing
 */
export function across(from: usize, into: usize, bytes: usize, width: i32, radius: i32): void {
  const norm: f64 = 1 / <f64>(2 * radius + 1);
  let a: f64 = 0,
    b: f64 = 0,
    c: f64 = 0,
    d: f64 = 0;
  const ahead = min(radius, width);
  for (let x = 0; x < ahead; x++) {
    const at = from + ((<usize>x) << 2);
    a += <f64>load<f32>(at);
    b += <f64>load<f32>(at + bytes);
    c += <f64>load<f32>(at + 2 * bytes);
    d += <f64>load<f32>(at + 3 * bytes);
  }
  for (let x = 0; x < width; x++) {
    if (x + radius < width) {
      const at = from + ((<usize>(x + radius)) << 2);
      a += <f64>load<f32>(at);
      b += <f64>load<f32>(at + bytes);
      c += <f64>load<f32>(at + 2 * bytes);
      d += <f64>load<f32>(at + 3 * bytes);
    }
    if (x > radius) {
      const at = from + ((<usize>(x - radius - 1)) << 2);
      a -= <f64>load<f32>(at);
      b -= <f64>load<f32>(at + bytes);
      c -= <f64>load<f32>(at + 2 * bytes);
      d -= <f64>load<f32>(at + 3 * bytes);
    }
    const to = into + ((<usize>x) << 2);
    store<f32>(to, <f32>(a * norm));
    store<f32>(to + bytes, <f32>(b * norm));
    store<f32>(to + 2 * bytes, <f32>(c * norm));
    store<f32>(to + 3 * bytes, <f32>(d * norm));
  }
}

function upperPair(row: v128): v128 {
  return f64x2.promote_low_f32x4(v128.shuffle<i64>(row, row, 1, 0));
}

/**
 * One step down the columns: adds the row that enters the box, takes off the one that leaves it, and writes the mean.
 * @param sums f64, kept from row to row
 * @param enters, leaves, into f32 rows, or 0 for none
 * @param width a multiple of 4
 */
export function down(sums: usize, enters: usize, leaves: usize, into: usize, width: i32, norm: f64): void {
  const end = sums + ((<usize>width) << 3);
  const scale = f64x2.splat(norm);
  for (; sums < end; sums += 32) {
    let low = v128.load(sums),
      high = v128.load(sums, 16);
    if (enters !== 0) {
      const row = v128.load(enters);
      low = f64x2.add(low, f64x2.promote_low_f32x4(row));
      high = f64x2.add(high, upperPair(row));
      enters += 16;
    }
    if (leaves !== 0) {
      const row = v128.load(leaves);
      low = f64x2.sub(low, f64x2.promote_low_f32x4(row));
      high = f64x2.sub(high, upperPair(row));
      leaves += 16;
    }
    v128.store(sums, low);
    v128.store(sums, high, 16);
    if (into !== 0) {
      const first = f32x4.demote_f64x2_zero(f64x2.mul(low, scale));
      const second = f32x4.demote_f64x2_zero(f64x2.mul(high, scale));
      v128.store(into, i64x2.shuffle(first, second, 0, 2));
      into += 16;
    }
  }
}
