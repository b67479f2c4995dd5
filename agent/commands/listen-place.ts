import { isIP } from "node:net";
import { wrongInput } from "./outcome.ts";

export interface ListenPlace {
  readonly host: string;
  readonly port: number;
}

/** `[HOST:]PORT`, an IPv6 host in brackets; without a host: loopback. @throws CommandError */
export function readListen(text: string, state: string): ListenPlace {
  const [, bracketed, plain, digits] = /^(?:(?:\[([^\]]+)\]|([^:\s[\]]+)):)?(\d{1,5})$/.exec(text) ?? [];
  const port = Number(digits);
  if (digits !== undefined && port <= 65535) return { host: bracketed ?? plain ?? "127.0.0.1", port };
  throw wrongInput(state, `"${text}" is no place to listen.`, "Give PORT, or HOST:PORT.");
}

/** Only this computer can reach it. */
export function isLoopback(host: string): boolean {
  if (host.toLowerCase() === "localhost" || host === "::1") return true;
  return isIP(host) === 4 && host.startsWith("127.");
}
