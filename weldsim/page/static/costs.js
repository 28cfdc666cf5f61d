// What a button costs before it is pressed: time on this machine, as the server estimates it.
import { askPatiently, span } from "./tools.js";

// Says beside a button what its work takes; `stale` says that nobody looks any more.
export async function costOf(body, place, stale) {
  place.textContent = "estimating the time …";
  const serial = place.costSerial = (place.costSerial || 0) + 1;
  try {
    const found = await askPatiently("/api/cost", body, stale);
    if (place.costSerial === serial) place.textContent = costText(found);
  } catch (error) {
    if (place.costSerial === serial) place.textContent = error.status === 503 ? "" : `no estimate of the time: ${error.message}`;
  }
}
export function costText(found) {
  if (!found || found.seconds === null || found.seconds === undefined) return "";
  const whole = span(found.seconds + (found.pictures || 0));
  return [`about ${whole}`, found.pictures ? `(${span(found.pictures)} of it pictures)` : "", found.note || ""].filter(Boolean).join(" ");
}
