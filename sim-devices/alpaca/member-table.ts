import { notImplemented } from "./ascom-error.ts";
import type { Arguments, Kinds, KindTypes, Verb } from "./parameters.ts";

export interface Member {
  readonly kinds: Kinds;
  /** Whether it answers only while the device is connected. */
  readonly whenConnected: boolean;
  readonly act: (given: never) => unknown;
}

/** What a device can be asked, by verb and name in lower case. */
export class MemberTable {
  readonly #members = new Map<string, Member>();

  find(verb: Verb, name: string): Member | undefined {
    return this.#members.get(`${verb} ${name}`);
  }

  /** Answers whether the device is connected or not. */
  always<K extends Kinds>(verb: Verb, name: string, kinds: K, act: (given: Arguments<K>) => unknown): void {
    this.#add(verb, name, { kinds, act: act as Member["act"], whenConnected: false });
  }

  reads(name: string, read: () => unknown): void {
    this.#add("GET", name, { kinds: {}, act: read, whenConnected: true });
  }

  /** What never changes, by name. */
  constants(values: Readonly<Record<string, unknown>>): void {
    for (const [name, value] of Object.entries(values)) this.reads(name, () => value);
  }

  readsWith<K extends Kinds>(name: string, kinds: K, read: (given: Arguments<K>) => unknown): void {
    this.#add("GET", name, { kinds, act: read as Member["act"], whenConnected: true });
  }

  /** @param act what it gives is no value of the reply; a promise holds the reply back */
  writes<K extends Kinds>(name: string, kinds: K, act: (given: Arguments<K>) => unknown): void {
    this.#add("PUT", name, { kinds, act: act as Member["act"], whenConnected: true });
  }

  /** Read and written under one name. @param parameter that name in the interface's casing */
  setting<K extends keyof KindTypes>(
    parameter: string,
    kind: K,
    { read, write }: { readonly read: () => unknown; readonly write: (value: KindTypes[K]) => unknown },
  ): void {
    this.reads(parameter.toLowerCase(), read);
    this.writes(parameter.toLowerCase(), { [parameter]: kind }, (given) => write(given[parameter]!));
  }

  /** Optional members that the device does without: 0x400. */
  lacks(...names: readonly string[]): void {
    for (const name of names) this.reads(name, () => refuse(name));
  }

  lacksWrite(name: string, kinds: Kinds = {}): void {
    this.writes(name, kinds, () => refuse(name));
  }

  lacksSetting(parameter: string, kind: keyof KindTypes): void {
    this.lacks(parameter.toLowerCase());
    this.lacksWrite(parameter.toLowerCase(), { [parameter]: kind });
  }

  #add(verb: Verb, name: string, member: Member): void {
    this.#members.set(`${verb} ${name}`, member);
  }
}

function refuse(name: string): never {
  throw notImplemented(name);
}
