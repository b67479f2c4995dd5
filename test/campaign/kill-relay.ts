/** The device server of the campaign, as its clients see it: the port that they know, to be killed and started again. */
import { connect, createServer } from "node:net";
import { told } from "./kill-clock.ts";

const { port, to } = told<{ readonly port: number; readonly to: number }>();
const server = createServer((client) => {
  const rig = connect(to, "127.0.0.1");
  for (const [one, other] of [
    [client, rig],
    [rig, client],
  ] as const) {
    one.pipe(other);
    one.on("error", () => other.destroy());
    one.on("close", () => other.destroy());
  }
});
server.listen(port, "127.0.0.1", () => {
  const address = server.address();
  process.stdout.write(`${JSON.stringify({ port: typeof address === "object" && address?.port })}\n`);
});
