import { serverFacts } from "./management.ts";
import { htmlReply, type SimReply, type SimRequest } from "./reply.ts";
import type { SimAlpacaDevice } from "./sim-alpaca-device.ts";

/** The pages for a person, which the standard asks for even where there is nothing to set up. */
export function setupReply(devices: readonly SimAlpacaDevice[], { method, path }: SimRequest): SimReply {
  if (method !== "GET") return htmlReply(400, page("Not possible", "<p>This page can only be read.</p>"));
  if (path === "/setup") return htmlReply(200, serverPage(devices));
  const device = devices.find((one) => path === pathOf(one));
  if (device) return htmlReply(200, devicePage(device));
  return htmlReply(403, page("No such page", `<p><a href="/setup">All devices</a></p>`));
}

function pathOf({ identity: { type, number } }: SimAlpacaDevice): string {
  return `/setup/v1/${type.toLowerCase()}/${number}/setup`;
}

function serverPage(devices: readonly SimAlpacaDevice[]): string {
  const { ServerName, Manufacturer, ManufacturerVersion, Location } = serverFacts;
  const rows = devices.map(
    (one) => `<li><a href="${pathOf(one)}">${one.identity.name}</a>, ${one.description}</li>`,
  );
  return page(
    ServerName,
    `<p>${Manufacturer}, version ${ManufacturerVersion}. ${Location}.</p><ul>${rows.join("")}</ul>`,
  );
}

function devicePage(device: SimAlpacaDevice): string {
  const { name, type, number, uniqueId } = device.identity;
  const facts = `${type} ${number}, ${uniqueId}. ${device.connected ? "Connected" : "Not connected"}.`;
  return page(
    name,
    `<p>${device.description}.</p><p>${facts}</p><p>Nothing to set up: it follows from the scene.</p>` +
      `<p><a href="/setup">All devices</a></p>`,
  );
}

function page(title: string, body: string): string {
  return `<!doctype html><html lang="en"><meta charset="utf-8"><title>${title}</title><h1>${title}</h1>${body}</html>\n`;
}
