// A serve over time: samples, times and frames, and how two serves share one clock. No drawing here.
// Times are seconds from contact; samples run from 0 (start of the toss) to 100 (finish).

export class Track {
  constructor(data) {
    Object.assign(this, data);
    [this.start, this.end] = data.ends;
  }

  /** First and last moment that can be shown. */
  get span() {
    if (this.times.length < 2) return [this.start, this.end];
    const [first, last] = [this.times[0], this.times.at(-1)];
    return this.picture ? [first, last] : [Math.max(first, this.start), Math.min(last, this.end)];
  }

  sampleAt(t) {
    return ((t - this.start) / (this.end - this.start)) * 100;
  }

  timeAt(sample) {
    return this.start + (sample / 100) * (this.end - this.start);
  }

  /** The frame nearest to a time. */
  frameAt(t) {
    const times = this.times;
    let low = 0;
    let high = times.length - 1;
    while (low < high) {
      const middle = (low + high) >> 1;
      if (times[middle] < t) low = middle + 1;
      else high = middle;
    }
    return low > 0 && t - times[low - 1] <= times[low] - t ? low - 1 : low;
  }

  moment(name) {
    return this.moments.find((one) => one.name === name)?.t ?? null;
  }

  /** The body at a time: joint names to places, as far as they are there. */
  bodyAt(t) {
    const count = this.joints.length;
    const sample = Math.min(100, Math.max(0, this.sampleAt(t)));
    const low = Math.floor(sample);
    const part = sample - low;
    const row = (at, joint) => {
      const from = (Math.min(at, 100) * count + joint) * 3;
      const place = this.figure.slice(from, from + 3);
      return place.includes(null) ? null : place;
    };
    const body = new Map();
    for (let joint = 0; joint < count; joint += 1) {
      const a = row(low, joint);
      const b = row(low + 1, joint);
      const place = a && b ? a.map((v, k) => v + part * (b[k] - v)) : part <= 0.5 ? a : b;
      if (place) body.set(this.joints[joint], place);
    }
    return body;
  }
}

/** The other serve's time while this one is at `t`: by time from contact, or along the warping path. */
export function otherTime(here, there, along, mode, t) {
  if (mode !== 'phase' || !along) return t;
  const sample = here.sampleAt(t);
  if (sample <= 0) return there.start + (t - here.start);
  if (sample >= 100) return there.end + (t - here.end);
  const low = Math.floor(sample);
  const at = along[low] + (sample - low) * (along[Math.min(low + 1, 100)] - along[low]);
  return there.timeAt(at);
}

/** Where labels of these widths stand, near where they want to, in order and apart. */
export function spread(wanted, width, room) {
  const places = wanted.map((at) => Math.min(room - width / 2, Math.max(width / 2, at)));
  for (let round = 0; round < 60; round += 1) {
    let moved = false;
    for (let k = 1; k < places.length; k += 1) {
      const over = places[k - 1] + width - places[k];
      if (over > 0.01) {
        places[k - 1] -= over / 2;
        places[k] += over / 2;
        moved = true;
      }
    }
    for (let k = 0; k < places.length; k += 1) {
      const low = width * (k + 0.5);
      const high = room - width * (places.length - k - 0.5);
      places[k] = Math.max(Math.min(low, high), Math.min(high, places[k]));
    }
    if (!moved) break;
  }
  return places;
}

/** "0.43 s before contact". */
export function fromContact(t) {
  if (Math.abs(t) < 0.005) return 'contact';
  return `${Math.abs(t).toFixed(2)} s ${t < 0 ? 'before' : 'after'} contact`;
}
