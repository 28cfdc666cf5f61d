// Room for labels in a picture: each goes where it covers no other, else where it covers least.
const TALL = 16;

export class LabelRoom {
  // `wide`, `tall` of the picture; `kept`: boxes [left, top, right, bottom] where nothing may stand.
  constructor(wide, tall, kept = []) { Object.assign(this, { wide, tall, boxes: [...kept] }); }
  add(box) { this.boxes.push(box); }
  disc([x, y], r) { this.add([x - r, y - r, x + r, y + r]); }

  // How much of a box is covered or outside.
  covered([a, b, c, d]) {
    const outside = Math.max(0, -a) + Math.max(0, c - this.wide) + Math.max(0, -b) + Math.max(0, d - this.tall);
    return this.boxes.reduce((sum, [p, q, r, s]) => sum + Math.max(0, Math.min(c, r) - Math.max(a, p)) * Math.max(0, Math.min(d, s) - Math.max(b, q)), TALL * outside);
  }
  // The first free of the places [x, y, anchor] for a text so wide, y at its foot; the least covered
  // where none is free, null instead where `must` is not set.
  take(places, width, must = true) {
    const boxOf = ([x, y, anchor]) => { const left = anchor === "start" ? x : anchor === "end" ? x - width : x - width / 2; return [left, y - TALL + 4, left + width, y + 4]; };
    const tried = places.map((p) => [this.covered(boxOf(p)), p]);
    const [cover, place] = tried.find(([c]) => c === 0) || tried.reduce((a, b) => (b[0] < a[0] ? b : a));
    if (cover > 0 && !must) return null;
    this.add(boxOf(place));
    return place;
  }
}

// Places about a spot, nearest first; `first` is the side that is tried first.
export function around([x, y], first = 1, near = 15, steps = 3) {
  const out = [];
  for (let k = 0; k < steps; k++) {
    const r = near + 14 * k, side = (way) => [x + way * r, y + 4.5, way > 0 ? "start" : "end"];
    out.push(side(first), side(-first), [x, y + r + 10, "middle"], [x, y - r - 1, "middle"],
      ...[1, -1].flatMap((up) => [first, -first].map((way) => [x + way * 0.75 * r, y + up * (r + 2) + 4.5, way > 0 ? "start" : "end"])));
  }
  return out;
}
