import type { TransactionIds } from "./image.ts";
import { BadRequestError } from "./parameters.ts";
import { jsonReply, type SimReply, type SimRequest, textReply } from "./reply.ts";
import type { SimAlpacaDevice } from "./sim-alpaca-device.ts";

export const serverFacts = {
  ServerName: "Scene Devices",
  Manufacturer: "Evenfield",
  ManufacturerVersion: "1.0",
  Location: "A simulated observatory",
} as const;

/** The management interface: these replies have ids and no error number (its published description). */
export function managementReply(
  devices: readonly SimAlpacaDevice[],
  { method, path }: SimRequest,
  ids: TransactionIds,
): SimReply {
  if (method !== "GET") throw new BadRequestError("management members can only be read");
  switch (path) {
    case "/management/apiversions":
      return jsonReply({ Value: [1], ...ids });
    case "/management/v1/description":
      return jsonReply({ Value: serverFacts, ...ids });
    case "/management/v1/configureddevices":
      return jsonReply({ Value: devices.map(listed), ...ids });
    default:
      return path.startsWith("/management/v1/")
        ? textReply(403, `${path} is no member of the management interface`)
        : textReply(400, `${path} is no member of the management interface`);
  }
}

function listed({ identity: { type, number, name, uniqueId } }: SimAlpacaDevice) {
  return { DeviceName: name, DeviceType: type, DeviceNumber: number, UniqueID: uniqueId };
}
