// Values that a fit has learnt, in words.
import { units } from "./units.js";

// A kept value to be read: four figures, its unit as it is.
const four = (v) => String(v).replace(/^-?\d+\.\d+/, (n) => String(Number(Number(n).toPrecision(4))));
// "arc efficiency 0.77, heat loss to air 12 W/m2/K" of a kept shop.
export const shopWords = (shop) => Object.entries(shop.values).map(([key, v]) => `${(shop.names || {})[key] || key} ${four(v)}`).join(", ");
// The numbers of one value in the units of the switch: likeliest, lowest, highest, and between what it was allowed.
export const saidOf = (value) => (units() === "us" ? value.said_us : value.said);
