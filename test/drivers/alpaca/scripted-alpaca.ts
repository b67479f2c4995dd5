import type { Clock } from "../../../drivers/kit/clock.ts";
import {
  type HttpExchange,
  HttpLinkError,
  type HttpReply,
  type HttpRequest,
} from "../../../drivers/kit/http-link.ts";
import { requestProblems } from "../../outside/alpaca-description.ts";

/** What a member answers instead of a value. */
export class Fault extends Error {
  constructor(
    readonly errorNumber: number,
    message = "fault",
  ) {
    super(message);
  }
}

export const absent = () => {
  throw new Fault(0x400, "not implemented");
};

export interface Member {
  get?(parameters: URLSearchParams): unknown;
  put?(parameters: URLSearchParams): unknown;
}

export type Members = Record<string, Member>;

/** A property that is only kept. */
export function kept(parameter: string, initial: number | boolean, check?: (value: number) => void): Member {
  let value = initial;
  return {
    get: () => value,
    put: (form) => {
      const text = form.get(parameter) ?? "";
      const given = typeof initial === "boolean" ? text === "True" : Number(text);
      if (typeof given === "number") check?.(given);
      value = given;
    },
  };
}

export const constant = (value: unknown): Member => ({ get: () => value });

export interface Seen {
  readonly method: string;
  readonly path: string;
  /** The last part of the path. */
  readonly member: string;
  readonly parameters: URLSearchParams;
  readonly seconds: number;
}

type Answer = HttpReply | "hang" | "cut" | "refuse" | undefined;

/**
 * A far end in memory, written from the published description: devices as tables of members. What is asked of it is
 * checked against that description; `intercept` makes it misbehave.
 */
export class ScriptedAlpaca implements HttpExchange {
  readonly seen: Seen[] = [];
  /** What the description has against any request so far. */
  readonly problems: string[] = [];
  intercept: ((seen: Seen, request: HttpRequest) => Answer) | undefined;
  /** The server's own count; set it to 0 to play a restart. */
  transactions = 100;
  /** How long every answer takes on its way [s]; requests arrive at once. */
  delaySeconds = 0;
  resets = 0;
  readonly #devices = new Map<string, { members: Members; name: string; type: string; number: number }>();
  readonly #clock: Clock;
  readonly #startMs: number;

  constructor(clock: Clock) {
    this.#clock = clock;
    this.#startMs = clock.nowMs();
  }

  /** @param typeName as it stands in the list of devices: `Camera`, `Telescope` */
  add(
    typeName: string,
    name: string,
    members: Members,
    options: { connected?: boolean; version?: number } = {},
  ) {
    const type = typeName.toLowerCase();
    const number = [...this.#devices.values()].filter((one) => one.type === type).length;
    const connection = { connected: options.connected ?? true };
    const common: Members = {
      connected: {
        get: () => connection.connected,
        put: (form) => {
          connection.connected = form.get("Connected") === "True";
        },
      },
      name: constant(name),
      driverversion: constant("1.2"),
      interfaceversion: constant(options.version ?? 2),
    };
    const needsConnection = (member: string) =>
      !(member in common) && !["connect", "connecting"].includes(member);
    const guarded = Object.fromEntries(
      Object.entries(members).map(([member, { get, put }]) => {
        const checked = (work: ((p: URLSearchParams) => unknown) | undefined) =>
          work &&
          ((parameters: URLSearchParams) => {
            if (!connection.connected && needsConnection(member)) throw new Fault(0x407, "not connected");
            return work(parameters);
          });
        return [member, { get: checked(get), put: checked(put) }];
      }),
    ) as Members;
    this.#devices.set(`${type}/${number}`, {
      members: { ...common, ...guarded },
      name: typeName,
      type,
      number,
    });
    this.#names.set(`${type}/${number}`, name);
    return connection;
  }

  readonly #names = new Map<string, string>();

  asked(member: string, method = "PUT"): Seen[] {
    return this.seen.filter((one) => one.member === member && one.method === method);
  }

  async exchange(request: HttpRequest): Promise<HttpReply> {
    request.signal.throwIfAborted();
    const { method, path, query, form } = request;
    const parameters = new URLSearchParams(method === "GET" ? query : form);
    const member = path.split("/").at(-1)!;
    const seen = { method, path, member, parameters, seconds: (this.#clock.nowMs() - this.#startMs) / 1000 };
    this.seen.push(seen);
    this.problems.push(...requestProblems(request).map((problem) => `${method} ${path}: ${problem}`));
    const answer = this.intercept?.(seen, request);
    if (answer === "hang") return hang(request.signal);
    if (answer === "refuse") throw new HttpLinkError("connect ECONNREFUSED", true);
    if (answer === "cut") throw new HttpLinkError("other side closed", false);
    const reply = answer ?? this.answer(request);
    if (this.delaySeconds > 0) await this.#clock.sleep(this.delaySeconds, request.signal);
    return reply;
  }

  answer(request: HttpRequest): HttpReply {
    const { method, path, query, form } = request;
    const parameters = new URLSearchParams(method === "GET" ? query : form);
    const ids = {
      ClientTransactionID: Number(parameters.get("ClientTransactionID") ?? 0),
      ServerTransactionID: ++this.transactions,
    };
    if (path === "/management/v1/configureddevices") return json({ ...ids, Value: this.#list() });
    if (path === "/management/apiversions") return json({ ...ids, Value: [1] });
    if (path === "/management/v1/description") {
      return json({ ...ids, Value: { ServerName: "Far end", ManufacturerVersion: "0.9", Location: "hut" } });
    }
    const [, type, number, member] = /^\/api\/v1\/([a-z]+)\/(\d+)\/([a-z]+)$/.exec(path) ?? [];
    const found = this.#devices.get(`${type}/${number}`)?.members[member ?? ""];
    const work = method === "GET" ? found?.get : found?.put;
    if (!this.#devices.has(`${type}/${number}`)) return text(400, `no device ${type}/${number}`);
    const good = { ...ids, ErrorNumber: 0, ErrorMessage: "" };
    if (!work) return json({ ...good, ErrorNumber: 0x400, ErrorMessage: `${member} is not implemented` });
    try {
      const value = work(parameters);
      if (value instanceof Uint8Array) return imageReply(value, ids);
      return json(method === "GET" ? { ...good, Value: value } : good);
    } catch (error) {
      if (!(error instanceof Fault)) throw error;
      return json({ ...good, ErrorNumber: error.errorNumber, ErrorMessage: error.message });
    }
  }

  #list() {
    return [...this.#devices].map(([key, { name, number }]) => ({
      DeviceName: this.#names.get(key),
      DeviceType: name,
      DeviceNumber: number,
      UniqueID: key,
    }));
  }

  reset(): Promise<void> {
    this.resets++;
    return Promise.resolve();
  }

  close(): Promise<void> {
    return Promise.resolve();
  }
}

export function json(value: object): HttpReply {
  return {
    status: 200,
    headers: { "content-type": "application/json; charset=utf-8" },
    body: new TextEncoder().encode(JSON.stringify(value)),
  };
}

export function text(status: number, body: string, type = "text/plain"): HttpReply {
  return { status, headers: { "content-type": type }, body: new TextEncoder().encode(body) };
}

/** The ids stand in the header's third and fourth word. */
function imageReply(
  bytes: Uint8Array,
  ids: { ClientTransactionID: number; ServerTransactionID: number },
): HttpReply {
  const body = bytes.slice();
  const header = new DataView(body.buffer);
  header.setUint32(8, ids.ClientTransactionID, true);
  header.setUint32(12, ids.ServerTransactionID, true);
  return { status: 200, headers: { "content-type": "application/imagebytes" }, body };
}

function hang(signal: AbortSignal): Promise<never> {
  return new Promise((_, reject) => {
    signal.addEventListener("abort", () => reject(signal.reason), { once: true });
  });
}
