// What was edited, step by step: undo and redo. Typing in one field counts as one step.
const ONE_STEP = 1500; // ms between two letters of one step
const MOST = 200; // steps kept

export class History {
  // `state`: text of what is there now
  constructor(state) { Object.assign(this, { now: state, past: [], ahead: [], place: null, at: 0 }); }

  // Takes note of a new state; `place` names the field that is being typed in, null for anything else.
  note(state, place) {
    if (state === this.now) return;
    const time = Date.now();
    const same = place && place === this.place && time - this.at < ONE_STEP && this.past.length;
    if (!same) {
      this.past.push(this.now);
      if (this.past.length > MOST) this.past.shift();
    }
    Object.assign(this, { now: state, ahead: [], place, at: time });
  }
  // The state before or after, or null where there is none.
  undo() { return this.step(this.past, this.ahead); }
  redo() { return this.step(this.ahead, this.past); }
  step(from, to) {
    if (!from.length) return null;
    to.push(this.now);
    this.now = from.pop();
    this.place = null;
    return this.now;
  }
}
