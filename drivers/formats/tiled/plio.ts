/**
 * PLIO_1: line lists of 16-bit words, an operation in the upper four bits and its operand in the rest.
 * Source: FITS Standard 4.0, section 10.4.3.
 */
export function plioValues(words: Int16Array, count: number): Int32Array {
  const values = new Int32Array(count);
  // The older of the two headers has its length where the newer has 0 or less.
  const isOld = words[2]! > 0;
  const length = isOld ? words[2]! : (words[4]! << 15) + words[3]!;
  let high = 1;
  let at = 0;
  for (let k = isOld ? 3 : words[1]!; k < length; k++) {
    const operation = (words[k]! >> 12) & 15;
    const operand = words[k]! & 4095;
    switch (operation) {
      case 0: // zeros
        at += operand;
        break;
      case 1: // sets the level
        high = (words[++k]! << 12) + operand;
        break;
      case 2:
        high += operand;
        break;
      case 3:
        high -= operand;
        break;
      case 4: // a run at the level
        values.fill(high, at, at + operand);
        at += operand;
        break;
      case 5: // zeros and one at the level
        at += operand;
        values[at - 1] = high;
        break;
      case 6:
      case 7: // moves the level, then one pixel
        high += operation === 6 ? operand : -operand;
        values[at++] = high;
        break;
      default:
        throw new RangeError(`a line list holds the unknown operation ${operation}`);
    }
  }
  return values;
}
