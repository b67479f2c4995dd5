import { moversConformance } from "../drivers/conformance/movers.ts";
import { stockAdapter } from "./stock-adapter.ts";

const movers = ["focuser", "wheel", "rotator", "dome", "weather"] as const;

moversConformance(stockAdapter(...movers), movers);
