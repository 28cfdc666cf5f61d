// Values that a fit may learn, in words.
const WORDS = { "arc.efficiency": "arc efficiency", "clamping.conductance": "heat contact of the clamp", "metal.softening_temperature": "temperature from which steel carries nothing",
  "metal.yield_factor": "yield, times the table's", "metal.expansion_factor": "expansion, times the table's", "metal.conductivity_factor": "conductivity, times the table's",
  "surroundings.film_coefficient": "heat loss to air", "surroundings.emissivity": "heat radiation (emissivity)" };
export const valueName = (key) => WORDS[key] || key.replace(/[._]/g, " ");

// A value of the answer as a person writes it: temperatures in degC.
export function valueText(value, unit) {
  if (unit === "K") return `${Math.round(value - 273.15)} °C`;
  const text = Math.abs(value) >= 1000 ? value.toFixed(0) : String(Number(value.toPrecision(3)));
  return `${text} ${unit === "1" ? "" : unit.replace(/\^/g, "").replace(/\*\*/g, "")}`.trim();
}
