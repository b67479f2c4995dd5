import { FitsError } from "../fits-error.ts";
import type { FitsHeader } from "../fits-header.ts";

/** A column of a binary table: where it lies in a row, and what it holds. */
interface Column {
  readonly offsetBytes: number;
  /** Of TFORM: P and Q are descriptors of arrays in the heap. */
  readonly letter: string;
  /** Of the heap's values, where it is a descriptor. */
  readonly heapLetter: string;
}

const widthOf: Readonly<Record<string, number>> = {
  ...{ L: 1, B: 1, A: 1, I: 2, J: 4, K: 8, E: 4, D: 8, C: 8, M: 16, P: 8, Q: 16 },
};

/** The rows of a binary table whose arrays lie in its heap. Source: FITS Standard 4.0, section 7.3. */
export class CompressedTable {
  readonly rowCount: number;
  readonly #rowBytes: number;
  readonly #heapStart: number;
  readonly #columns = new Map<string, Column>();

  /** @param readAt bytes of the table's data from a place in them on */
  constructor(
    header: FitsHeader,
    readonly readAt: (startBytes: number, length: number) => Uint8Array,
    readonly what: string,
  ) {
    this.#rowBytes = header.number("NAXIS1") ?? 0;
    this.rowCount = header.number("NAXIS2") ?? 0;
    this.#heapStart = header.number("THEAP") ?? this.#rowBytes * this.rowCount;
    let offsetBytes = 0;
    for (let k = 1; k <= (header.number("TFIELDS") ?? 0); k++) {
      const form = /^ *(\d*)([LXBIJKAEDCMPQ])([A-Z]?)/.exec(header.text(`TFORM${k}`) ?? "");
      if (!form) throw new FitsError(`${what}: column ${k} of its compressed picture has no known form`);
      const [, repeat, letter, heapLetter] = form as unknown as [string, string, string, string];
      const name = header.text(`TTYPE${k}`)?.trim().toUpperCase();
      if (name !== undefined) this.#columns.set(name, { offsetBytes, letter, heapLetter });
      const count = repeat === "" ? 1 : Number(repeat);
      offsetBytes += letter === "X" ? Math.ceil(count / 8) : count * widthOf[letter]!;
    }
  }

  has(column: string): boolean {
    return this.#columns.has(column);
  }

  row(index: number): DataView {
    const bytes = this.readAt(index * this.#rowBytes, this.#rowBytes);
    return new DataView(bytes.buffer, bytes.byteOffset, bytes.length);
  }

  /** The bytes of the array that a row points at; `undefined` if it is empty or there is no such column. */
  heap(row: DataView, name: string): Uint8Array | undefined {
    const column = this.#columns.get(name);
    if (column === undefined) return undefined;
    const { offsetBytes, letter, heapLetter } = column;
    const wide = letter === "Q";
    const at = (k: 0 | 1) =>
      wide ? Number(row.getBigInt64(offsetBytes + 8 * k)) : row.getInt32(offsetBytes + 4 * k);
    const length = at(0) * (widthOf[heapLetter] ?? 1);
    return length <= 0 ? undefined : this.readAt(this.#heapStart + at(1), length);
  }

  /** A number of the row; `undefined` if there is no such column. */
  number(row: DataView, name: string): number | undefined {
    const column = this.#columns.get(name);
    if (column === undefined) return undefined;
    const { offsetBytes: at, letter } = column;
    if (letter === "D") return row.getFloat64(at);
    if (letter === "E") return row.getFloat32(at);
    if (letter === "J") return row.getInt32(at);
    if (letter === "I") return row.getInt16(at);
    if (letter === "K") return Number(row.getBigInt64(at));
    throw new FitsError(`${this.what}: ${name} of its compressed picture is no number`);
  }
}
