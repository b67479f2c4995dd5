import { readFileSync } from "node:fs";
import { findOwnFile } from "../place.ts";
import { bindings } from "./built/kernels.ts";
import { giveBackMemory, pageBytes, takeMemory } from "./kept-memories.ts";

export type KernelName = keyof typeof bindings;
/** A kernel's functions, typed as its source declares them; those of more than four numbers take them by name. */
export type Kernel<Name extends KernelName> = ReturnType<(typeof bindings)[Name]>;

const modules = new Map<KernelName, WebAssembly.Module>();

/**
 * Starts a kernel (`src/NAME.ts`, compiled) in a memory. One module serves all that ask: what the engine learns of its
 * loops is then learnt once.
 * @throws Error if this runtime cannot run it
 */
export function startKernel<Name extends KernelName>(name: Name, memory: WebAssembly.Memory): Kernel<Name> {
  try {
    let module = modules.get(name);
    if (module === undefined) {
      module = new WebAssembly.Module(readFileSync(findOwnFile(`drivers/kit/kernels/built/${name}.wasm`)));
      modules.set(name, module);
    }
    const { exports } = new WebAssembly.Instance(module, { env: { memory } });
    return bindings[name](exports as Parameters<(typeof bindings)[Name]>[0]) as Kernel<Name>;
  } catch (cause) {
    throw new Error(`The compiled loops "${name}" do not start: Evenfield needs WebAssembly with SIMD`, {
      cause,
    });
  }
}

type Elements = Uint8Array | Uint16Array | Int16Array | Uint32Array | Float32Array | Float64Array;

/** Room for an array. */
interface Room<View extends Elements> {
  readonly bytes: number;
  view(buffer: ArrayBuffer, address: number): View;
}

function roomOf<View extends Elements>(make: {
  new (buffer: ArrayBuffer, address: number, length: number): View;
  readonly BYTES_PER_ELEMENT: number;
}) {
  return (length: number): Room<View> => ({
    bytes: make.BYTES_PER_ELEMENT * length,
    view: (buffer, address) => new make(buffer, address, length),
  });
}

export const u8 = roomOf<Uint8Array<ArrayBuffer>>(Uint8Array);
export const u16 = roomOf<Uint16Array<ArrayBuffer>>(Uint16Array);
export const i16 = roomOf<Int16Array<ArrayBuffer>>(Int16Array);
export const u32 = roomOf<Uint32Array<ArrayBuffer>>(Uint32Array);
export const f32 = roomOf<Float32Array<ArrayBuffer>>(Float32Array);
export const f64 = roomOf<Float64Array<ArrayBuffer>>(Float64Array);

/**
 * Arrays in a kernel's memory, all zeros if it is its own. Disposing gives that back to be used again: the arrays are empty
 * from then on, and no kernel that works in it may be called any more.
 */
export interface Layout<Rooms> extends Disposable {
  readonly memory: WebAssembly.Memory;
  /** Addresses [bytes]. */
  readonly at: { readonly [Key in keyof Rooms]: number };
  readonly views: {
    readonly [Key in keyof Rooms]: Rooms[Key] extends Room<infer View> ? View : never;
  };
  /** The whole memory. Copying pieces with `Buffer.copy` makes no array for each piece, as `set` and `subarray` do. */
  readonly bytes: Buffer;
}

export const lineBytes = 64;

/**
 * Lays arrays out one after the other. Each starts at a line of the cache and has a line of room behind it, since kernels
 * work on several numbers at a time and may run past an end; so not all of them fall at one place of the cache either.
 * Nothing lies at address 0, which stands for no array.
 * @param where a memory that is used again, and grown if need be, which takes earlier views away; or whether threads share it
 */
export function layout<Rooms extends Readonly<Record<string, Room<Elements>>>>(
  rooms: Rooms,
  where: WebAssembly.Memory | "own" | "shared" = "own",
): Layout<Rooms> {
  let end = lineBytes;
  const at: Record<string, number> = {};
  for (const [key, { bytes }] of Object.entries(rooms)) {
    at[key] = end;
    end += (Math.ceil(bytes / lineBytes) + 1) * lineBytes;
  }
  const memory = memoryFor(end, where);
  const buffer = memory.buffer as ArrayBuffer;
  const views = Object.fromEntries(
    Object.entries(rooms).map(([key, room]) => [key, room.view(buffer, at[key]!)]),
  );
  let isTaken = where === "own";
  const giveBack = () => {
    if (isTaken) giveBackMemory(memory);
    isTaken = false;
  };
  const bytes = Buffer.from(buffer);
  return { memory, at, views, bytes, [Symbol.dispose]: giveBack } as unknown as Layout<Rooms>;
}

function memoryFor(bytes: number, where: WebAssembly.Memory | "own" | "shared"): WebAssembly.Memory {
  if (where === "own") return takeMemory(bytes);
  const pages = Math.ceil(bytes / pageBytes);
  if (where === "shared") return new WebAssembly.Memory({ initial: pages, maximum: pages, shared: true });
  const missing = pages - where.buffer.byteLength / pageBytes;
  if (missing > 0) where.grow(missing);
  return where;
}

/** The bytes of an array, where they are. */
export function bytesOf({ buffer, byteOffset, byteLength }: ArrayBufferView): Buffer {
  return Buffer.from(buffer as ArrayBuffer, byteOffset, byteLength);
}
