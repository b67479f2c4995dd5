import { isIP } from "node:net";
import { hostname, networkInterfaces } from "node:os";

/** Looks a host name up; gives no address, or throws, where it is not known. */
export type LookUpHost = (host: string) => Promise<readonly string[]>;

const thisMachine = "this machine";

/**
 * What a server's host may be called by others that mean the same machine: as it is written, and every address of it.
 * All names and addresses of this machine are one.
 */
export async function machineNames(written: string, lookUp: LookUpHost): Promise<readonly string[]> {
  const host = plainHost(written);
  if (isThisMachine(host)) return [thisMachine];
  if (isIP(host) > 0) return [host];
  const addresses = (await lookUp(host).catch(() => [])).map(plainHost);
  return addresses.some(isThisMachine) ? [thisMachine] : [host, ...addresses];
}

/** In small letters, without brackets, zone or a dot at the end; an IPv4 address in IPv6 form as itself. */
function plainHost(host: string): string {
  return host
    .trim()
    .toLowerCase()
    .replace(/^\[(.*)\]$/, "$1")
    .replace(/%.*$/, "")
    .replace(/\.$/, "")
    .replace(/^::ffff:(?=\d+\.\d+\.\d+\.\d+$)/, "");
}

function isThisMachine(host: string): boolean {
  if (/^127\.\d+\.\d+\.\d+$/.test(host) || ["::1", "0:0:0:0:0:0:0:1", "0.0.0.0", "::"].includes(host))
    return true;
  if (host === "localhost" || host.endsWith(".localhost") || /^ip6-(localhost|loopback)$/.test(host))
    return true;
  const own = hostname().toLowerCase();
  if (host === own || host === `${own}.local`) return true;
  return Object.values(networkInterfaces()).some((addresses) =>
    addresses?.some(({ address }) => plainHost(address) === host),
  );
}
