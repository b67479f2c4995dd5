import { deviceConformance } from "../drivers/conformance/device.ts";
import { stockAdapter, stockRoles } from "./stock-adapter.ts";

deviceConformance(stockAdapter(...stockRoles));
