// The pictures of a clip: asked for until they are made, fetched in parts, decoded beside the page's
// own work, and shown by number, so that a frame is that frame and no other.

/** Bytes fetched at once. */
const PART = 1 << 20;
/** Decoded pictures kept: about 2 MB each. */
const KEPT = 96;
const KEPT_SHARP = 3;
/** Decoders at work for one reel. */
const AT_ONCE = 3;
const ASK_AGAIN_MS = 400;

export class Reel {
  /** `changed` is called whenever there is something new to show. */
  constructor(serve, changed) {
    this.at = `/serve/${serve}/film`;
    this.changed = changed;
    this.state = { state: 'making', done: 0, of: 0 };
    this.bytes = [];
    this.pictures = new Map();
    this.sharps = new Map();
    this.busy = new Set();
    this.wanted = [];
    this.closed = false;
  }

  /** Waits until the film is made, then fetches it. */
  async open() {
    const began = performance.now();
    while (!this.closed) {
      const answer = await fetch(this.at);
      if (!answer.ok) throw new Error(`${answer.status}`);
      const said = await answer.json();
      if (this.stopped) return;
      if (said.state === 'ready') {
        this.begin(said);
        return;
      }
      const gone = (performance.now() - began) / 1000;
      const left = said.done > 0 ? (gone / said.done) * (said.of - said.done) : null;
      this.state = { ...said, left };
      this.changed();
      if (said.state === 'none') return;
      await new Promise((resolve) => setTimeout(resolve, ASK_AGAIN_MS));
    }
  }

  async stop() {
    this.stopped = true;
    this.state = { state: 'stopped' };
    this.changed();
    await fetch(`${this.at}/stop`, { method: 'POST' });
  }

  again() {
    this.stopped = false;
    this.state = { state: 'making', done: 0, of: 0 };
    this.changed();
    return this.open();
  }

  begin(said) {
    const starts = (sizes) => {
      let sum = 0;
      return [...sizes.map((bytes) => (sum += bytes) - bytes), sum];
    };
    this.quick = starts(said.quick);
    this.sharp = starts(said.sharp);
    this.frames = said.quick.length;
    this.state = { state: 'ready' };
    this.changed();
    this.fetchAll();
  }

  /** Parts of whole pictures, those nearest to the one in sight first. */
  async fetchAll() {
    const parts = [];
    for (let from = 0; from < this.frames; ) {
      let to = from + 1;
      while (to < this.frames && this.quick[to + 1] - this.quick[from] <= PART) to += 1;
      parts.push([from, to]);
      from = to;
    }
    while (parts.length > 0 && !this.closed) {
      const here = this.wanted[0] ?? 0;
      const away = ([from, to]) => (here < from ? from - here : here >= to ? here - to + 1 : 0);
      parts.sort((a, b) => away(a) - away(b));
      const [from, to] = parts.shift();
      const bytes = await this.part('quick', this.quick[from], this.quick[to]);
      for (let k = from; k < to; k += 1) {
        const first = this.quick[k] - this.quick[from];
        this.bytes[k] = bytes.subarray(first, this.quick[k + 1] - this.quick[from]);
      }
      this.decode();
    }
  }

  async part(size, from, to) {
    const answer = await fetch(`${this.at}/${size}`, { headers: { range: `bytes=${from}-${to - 1}` } });
    if (!answer.ok) throw new Error(`${answer.status}`);
    return new Uint8Array(await answer.arrayBuffer());
  }

  /** Asks for a frame; `ahead` are those that will be wanted next. */
  want(frame, ahead) {
    this.wanted = [frame, ...ahead].filter((k) => k >= 0 && k < this.frames);
    this.decode();
  }

  decode() {
    for (const frame of this.wanted) {
      if (this.busy.size >= AT_ONCE) return;
      if (this.pictures.has(frame) || this.busy.has(frame) || !this.bytes[frame]) continue;
      this.busy.add(frame);
      picture(this.bytes[frame]).then((made) => {
        this.busy.delete(frame);
        if (this.closed) return made.close();
        keep(this.pictures, frame, made, KEPT);
        if (frame === this.wanted[0]) this.changed();
        return this.decode();
      });
    }
  }

  /** Fetches the sharp picture of a frame, for a closer look. */
  async sharpen(frame) {
    if (!this.sharp || this.sharps.has(frame) || this.closed) return;
    const bytes = await this.part('sharp', this.sharp[frame], this.sharp[frame + 1]);
    if (this.closed) return;
    keep(this.sharps, frame, await picture(bytes), KEPT_SHARP);
    this.changed();
  }

  /** The picture of a frame and its number; while it is decoded, the nearest there is. */
  shown(frame) {
    const sharp = this.sharps.get(frame);
    if (sharp) return [sharp, frame];
    const own = this.pictures.get(frame);
    if (own) {
      this.pictures.delete(frame);
      this.pictures.set(frame, own);
      return [own, frame];
    }
    let best = null;
    for (const k of this.pictures.keys()) {
      if (best === null || Math.abs(k - frame) < Math.abs(best - frame)) best = k;
    }
    return best === null ? [null, null] : [this.pictures.get(best), best];
  }

  close() {
    this.closed = true;
    for (const made of [...this.pictures.values(), ...this.sharps.values()]) made.close();
    this.pictures.clear();
    this.sharps.clear();
  }
}

function picture(bytes) {
  return createImageBitmap(new Blob([bytes], { type: 'image/jpeg' }));
}

/** Keeps the last `most` that were looked at. */
function keep(map, key, made, most) {
  map.set(key, made);
  while (map.size > most) {
    const [oldest, old] = map.entries().next().value;
    map.delete(oldest);
    old.close();
  }
}
