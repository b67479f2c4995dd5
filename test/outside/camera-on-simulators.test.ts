import { cameraConformance } from "../drivers/conformance/camera.ts";
import { stockAdapter } from "./stock-adapter.ts";

cameraConformance(stockAdapter("camera"));
