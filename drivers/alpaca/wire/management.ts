import * as z from "zod";
import type { AlpacaServer } from "./server.ts";

/** A device as its server lists it. */
export interface ListedDevice {
  readonly name: string;
  /** Lower case, as it stands in the paths: `camera`, `telescope`, … */
  readonly type: string;
  readonly number: number;
  readonly uniqueId: string;
}

export interface ServerDescription {
  readonly serverName: string;
  readonly manufacturer: string;
  readonly version: string;
  readonly location: string;
}

const replySeconds = 10;
const optionalText = z.string().nullish();

const devicesValue = z.array(
  z.object({
    DeviceName: z.string(),
    DeviceType: z.string(),
    DeviceNumber: z.number().int().min(0),
    UniqueID: optionalText,
  }),
);

/** `Version` stands for ManufacturerVersion in at least one server kit. */
const descriptionValue = z.object({
  ServerName: optionalText,
  Manufacturer: optionalText,
  ManufacturerVersion: optionalText,
  Version: optionalText,
  Location: optionalText,
});

/** @throws DeviceLostError, DeadlineError, HttpStatusError, UnreadableReplyError */
export async function listDevices(
  server: AlpacaServer,
  signal: AbortSignal,
): Promise<readonly ListedDevice[]> {
  const listed = await read(server, "v1/configureddevices", devicesValue, signal);
  return listed.map(({ DeviceName, DeviceType, DeviceNumber, UniqueID }) => ({
    name: DeviceName,
    type: DeviceType.toLowerCase(),
    number: DeviceNumber,
    uniqueId: UniqueID ?? "",
  }));
}

/** @throws as `listDevices` */
export async function describeServer(server: AlpacaServer, signal: AbortSignal): Promise<ServerDescription> {
  const told = await read(server, "v1/description", descriptionValue, signal);
  return {
    serverName: told.ServerName ?? "",
    manufacturer: told.Manufacturer ?? "",
    version: told.ManufacturerVersion ?? told.Version ?? "",
    location: told.Location ?? "",
  };
}

/** The versions of the protocol that the server speaks; 1 is the only one there is. */
export function apiVersions(server: AlpacaServer, signal: AbortSignal): Promise<readonly number[]> {
  return read(server, "apiversions", z.array(z.number().int()), signal);
}

function read<T>(
  server: AlpacaServer,
  member: string,
  schema: z.ZodType<T>,
  signal: AbortSignal,
): Promise<T> {
  return server.ask({
    method: "GET",
    path: `/management/${member}`,
    device: server.name,
    member,
    schema,
    withinSeconds: replySeconds,
    signal,
  });
}
