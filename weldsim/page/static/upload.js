// A file on its way to the page, as it is: with how much of it is there, and a way to stop it.
import { Refused } from "./tools.js";

export const MOST = { table: 64 * 2 ** 20, clip: 300 * 2 ** 20 };
export const kindOf = (file) => (file.type.startsWith("video/") || /\.(mp4|mov|mkv|avi|webm|m4v)$/i.test(file.name) ? "clip" : "table");

// Promise of the measurement; `told(share)` follows it, `begun(stop)` gets what stops it.
export function bring(file, told, begun) {
  const kind = kindOf(file);
  if (file.size > MOST[kind]) return Promise.reject(new Refused(`${file.name}: ${Math.ceil(file.size / 2 ** 20)} MB, allowed: at most ${MOST[kind] / 2 ** 20} MB`, 413, {}));
  return new Promise((done, wrong) => {
    const way = new XMLHttpRequest();
    way.open("POST", `/api/measured/${kind}?name=${encodeURIComponent(file.name.slice(0, 200))}`);
    way.setRequestHeader("content-type", "application/octet-stream");
    way.setRequestHeader("x-weldsim", "page");
    way.responseType = "json";
    way.upload.onprogress = (e) => { if (e.lengthComputable) told(e.loaded / e.total); };
    way.onload = () => (way.status === 200 ? done(way.response) : wrong(new Refused((way.response || {}).error || `refused (${way.status})`, way.status, way.response || {})));
    way.onerror = () => wrong(new Refused(`${file.name}: it did not come in; is weldsim serve still running?`, 0, {}));
    way.onabort = () => wrong(new Refused(`${file.name}: stopped`, 0, {}));
    begun(() => way.abort());
    way.send(file);
  });
}
