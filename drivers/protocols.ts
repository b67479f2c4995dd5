import { alpaca } from "./alpaca/protocol.ts";
import { indi } from "./indi/protocol.ts";

/** Every protocol there is. A rig file's server kinds (`plans/rig-file.ts`) are theirs, or nothing compiles. */
export const protocols = [alpaca, indi] as const;

type AnyProtocol = (typeof protocols)[number];
export type ProtocolKind = AnyProtocol["kind"];

type All<Each> = (Each extends unknown ? (one: Each) => void : never) extends (all: infer Both) => void
  ? Both
  : never;
type Opening = Parameters<AnyProtocol["open"]>;
type OpenServer = Awaited<ReturnType<AnyProtocol["open"]>>;

/** The tools and links of all of them; the seal is made at connecting. */
export type ConnectTools = Omit<All<Opening[2]>, "seal">;
/** What the rig file may say of a device on any of them. */
export type AnyDeviceEntry = All<Parameters<OpenServer["role"]>[1]>;
/** Where each of them looks for servers. */
export type FindOptions = All<Parameters<AnyProtocol["find"]>[0]>;
