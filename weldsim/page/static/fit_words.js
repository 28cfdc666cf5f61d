// Values that a fit has learnt, in words.
import { units } from "./units.js";

// "arc efficiency 0.77, heat loss to air 12 W/m2/K" of a kept shop.
export const shopWords = (shop) => Object.entries(shop.values).map(([key, v]) => `${(shop.names || {})[key] || key} ${v}`).join(", ");
// The numbers of one value in the units of the switch: likeliest, lowest, highest, and between what it was allowed.
export const saidOf = (value) => (units() === "us" ? value.said_us : value.said);
