/** The request itself is wrong, so that nothing was attempted: HTTP 400, with this text. */
export class BadRequestError extends Error {
  constructor(message: string) {
    super(message);
    this.name = "BadRequestError";
  }
}

export interface KindTypes {
  readonly int: number;
  readonly number: number;
  readonly boolean: boolean;
  readonly text: string;
}

/** The parameters of a member by their exact names, with what each must be. */
export type Kinds = Readonly<Record<string, keyof KindTypes>>;
export type Arguments<K extends Kinds> = { readonly [Name in keyof K]: KindTypes[K[Name]] };

export type Verb = "GET" | "PUT";

/**
 * What a request brought: of a query names in any casing are taken, of a form only the exact ones, and what nobody
 * asks for is ignored (ASCOM Alpaca API Reference, parameter names).
 */
export class RequestParameters {
  readonly #values: ReadonlyMap<string, string>;
  readonly #anyCasing: boolean;

  constructor(verb: Verb, encoded: string) {
    this.#anyCasing = verb === "GET";
    const values = new Map<string, string>();
    for (const [name, value] of new URLSearchParams(encoded)) {
      const key = this.#key(name);
      if (!values.has(key)) values.set(key, value);
    }
    this.#values = values;
  }

  #key(name: string): string {
    return this.#anyCasing ? name.toLowerCase() : name;
  }

  /** @throws BadRequestError for one that is missing or cannot be read */
  read<K extends Kinds>(kinds: K): Arguments<K> {
    return Object.fromEntries(
      Object.entries(kinds).map(([name, kind]) => {
        const text = this.#values.get(this.#key(name));
        if (text === undefined) throw new BadRequestError(`parameter ${name} is missing`);
        return [name, readValue(name, kind, text)];
      }),
    ) as Arguments<K>;
  }

  /** An id of the client's: 0 stands for one that was not given. @throws BadRequestError */
  id(name: "ClientID" | "ClientTransactionID"): number {
    const text = this.#values.get(this.#key(name));
    if (text === undefined) return 0;
    const id = /^\d+$/.test(text) ? Number(text) : Number.NaN;
    if (id < 2 ** 32) return id;
    throw new BadRequestError(`${name} "${text}" is no whole number from 0 to 4294967295`);
  }
}

const int32 = { min: -(2 ** 31), max: 2 ** 31 - 1 };

function readValue(name: string, kind: keyof KindTypes, text: string): number | boolean | string {
  switch (kind) {
    case "text":
      return text;
    case "boolean": {
      const word = text.toLowerCase();
      if (word === "true" || word === "false") return word === "true";
      throw new BadRequestError(`${name} "${text}" is neither true nor false`);
    }
    case "int": {
      const value = /^[+-]?\d+$/.test(text) ? Number(text) : Number.NaN;
      if (value >= int32.min && value <= int32.max) return value;
      throw new BadRequestError(`${name} "${text}" is no whole number of 32 bits`);
    }
    case "number": {
      const value = /^[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?$/.test(text) ? Number(text) : Number.NaN;
      if (Number.isFinite(value)) return value;
      throw new BadRequestError(`${name} "${text}" is no number with a full stop for its decimals`);
    }
  }
}
