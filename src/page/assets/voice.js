// The spoken review: the voice is recorded while the serve is played, stepped, pointed at and drawn on;
// what is shown goes with it as steps at their times. Parts are kept by the program as they end.

const KINDS = [['audio/webm;codecs=opus', 'webm'], ['audio/ogg;codecs=opus', 'ogg'], ['audio/mp4', 'm4a']];
/** Longest part, ms: what is kept in one piece is sent in one piece. */
const LONGEST_MS = 15 * 60 * 1000;
/** Shortest time between two places of a pointing hand, s. */
const POINT_S = 0.05;

const CLOSED = {
  NotAllowedError: 'This page may not use the microphone yet: allow it next to the address, then press Record again.',
  NotFoundError: 'No microphone found: plug one in, then press Record again.',
  NotReadableError: 'Another program is using the microphone: close it, then press Record again.',
};

const minutes = (s) => `${Math.floor(s / 60)}:${String(Math.floor(s % 60)).padStart(2, '0')}`;
const same = (a, b) => JSON.stringify(a) === JSON.stringify(b);

/** A drawing as a step holds it, and back. */
const stepOf = ({ kind, points, text }) => (kind === 'words' ? { kind, at: points[0] ?? null, text } : { kind, points });
const markOf = (draw) => (draw.kind === 'words' ? { kind: 'words', points: draw.at ? [draw.at] : [], text: draw.text } : draw);

/** What steps show at a time, as the clip will. */
class Shown {
  constructor(steps, track, from) {
    Object.assign(this, { steps, track, next: 0, since: 0, speed: 0, t: from, drawings: [], point: null });
  }

  at(time) {
    const { times, first } = this.track;
    for (; this.next < this.steps.length && this.steps[this.next].at_s <= time; this.next += 1) {
      const { at_s: at, do: act } = this.steps[this.next];
      this.t += this.speed * (at - this.since);
      this.since = at;
      if (act === 'pause') this.speed = 0;
      else if (act === 'clear') this.drawings = [];
      else if (act.play) [this.speed, this.drawings] = [act.play.speed, []];
      else if ('frame' in act) {
        this.t = times[Math.min(times.length - 1, Math.max(0, act.frame - first))];
        [this.speed, this.drawings] = [0, []];
      } else if (act.draw) [this.speed, this.drawings] = [0, [...this.drawings, markOf(act.draw)]];
      else if ('point' in act) this.point = act.point;
    }
    return { t: this.t + this.speed * (time - this.since), drawings: this.drawings, point: this.point };
  }
}

export class Voice {
  /** `desk`: `track()`, the serve; `show(what)`, shows what was shown, nothing at the end; `rest()`, stops
   * playing; `look()`, asks to be looked at; `said(text)`. */
  constructor(root, desk) {
    this.desk = desk;
    this.at = `/serve/${root.dataset.serve}/spoken`;
    this.root = root.querySelector('[data-voice]');
    this.parts = [];
    this.root.addEventListener('click', (event) => {
      const button = event.target.closest('[data-say]');
      if (button) this[button.dataset.say]();
    });
    addEventListener('beforeunload', (event) => {
      if (this.on || this.unsent) event.preventDefault();
    });
  }

  part(name) {
    return this.root.querySelector(name);
  }

  async begin() {
    const answer = await fetch(this.at);
    if (answer.ok) this.take(await answer.json());
  }

  take({ parts }) {
    this.parts = parts;
    this.told();
  }

  /** What there is, and what can be done with it. */
  told() {
    const busy = this.on || Boolean(this.hearing) || Boolean(this.sending);
    const some = this.parts.length > 0;
    this.part('[data-say="record"] span').textContent = this.on ? 'Stop' : some ? 'Record the next part' : 'Record';
    this.part('[data-say="record"]').setAttribute('aria-pressed', String(Boolean(this.on)));
    this.part('[data-say="record"]').disabled = busy && !this.on;
    this.part('[data-say="hear"] span').textContent = this.hearing ? 'Stop' : 'Hear it';
    this.part('[data-say="hear"]').hidden = !some || Boolean(this.on);
    this.part('[data-say="back"]').hidden = !some || busy;
    this.part('[data-say="send"]').hidden = !this.unsent || busy;
    this.part('[data-make]').hidden = !some || busy || Boolean(this.unsent);
    this.part('.time').hidden = !this.on;
    const all = this.parts.reduce((sum, s) => sum + s, 0);
    const count = this.parts.length === 1 ? '1 part' : `${this.parts.length} parts`;
    this.part('.spoke').textContent = some
      ? `${count}, ${minutes(all)} in all. They stay while the page runs; the clip is yours to keep.`
      : 'Your voice, this picture and what you draw go in; the joints and the second picture do not.';
  }

  async record() {
    if (this.on) return this.recorder.stop();
    if (this.hearing || this.sending) return undefined;
    if (this.unsent) return this.desk.said('The part before has not been saved yet: send it again first.');
    let stream;
    try {
      stream = await navigator.mediaDevices.getUserMedia({ audio: true });
    } catch (error) {
      return this.desk.said(CLOSED[error.name] ?? 'The microphone cannot be used here; try another browser.');
    }
    const [type, ending] = KINDS.find(([kind]) => MediaRecorder.isTypeSupported(kind)) ?? [];
    if (!type) return this.desk.said('This browser cannot record your voice; try another.');
    const heard = [];
    const recorder = new MediaRecorder(stream, { mimeType: type, audioBitsPerSecond: 64000 });
    this.recorder = recorder;
    recorder.ondataavailable = (event) => event.data.size > 0 && heard.push(event.data);
    recorder.onstart = () => {
      Object.assign(this, { on: true, began: performance.now(), steps: [], last: null, pointed: -1 });
      this.clock = setInterval(() => {
        this.part('.time').textContent = minutes(this.now());
        if (this.now() * 1000 > LONGEST_MS && recorder.state !== 'inactive') recorder.stop();
      }, 250);
      this.part('.time').textContent = '0:00';
      this.told();
      this.desk.said('Recording. Play, step, point and draw as you speak.');
      this.desk.look();
    };
    recorder.onstop = () => {
      clearInterval(this.clock);
      this.on = false;
      stream.getTracks().forEach((track) => track.stop());
      this.desk.rest();
      this.unsent = { voice: new Blob(heard, { type }), name: `voice.${ending}`, steps: this.steps };
      return this.send();
    };
    return recorder.start(1000);
  }

  now() {
    return (performance.now() - this.began) / 1000;
  }

  step(act) {
    this.steps.push({ at_s: Math.round(this.now() * 1000) / 1000, do: act });
  }

  /** What is in sight now; what changed becomes a step. */
  look(now) {
    if (!this.on) return;
    const last = this.last ?? {};
    const frame = () => this.step({ frame: now.frame });
    if (now.playing) {
      const again = last.playing && last.speed === now.speed && now.frame >= last.frame;
      if (!again) {
        frame();
        this.step({ play: { speed: now.speed } });
      }
    } else {
      const moved = last.playing || last.frame !== now.frame;
      if (moved) frame();
      if (moved || !same(last.marks, now.marks)) {
        if (!moved) this.step('clear');
        for (const mark of now.marks) this.step({ draw: stepOf(mark) });
      }
    }
    const point = now.point ?? null;
    const gone = point === null && last.point;
    const due = gone || this.now() - this.pointed > POINT_S;
    if (!same(last.point ?? null, point) && due) {
      this.step({ point });
      this.pointed = this.now();
      this.last = { ...now, point };
    } else this.last = { ...now, point: last.point ?? null };
  }

  async send() {
    const { voice, name, steps } = this.unsent;
    this.sending = true;
    this.told();
    let why = 'is the program still running?';
    try {
      const sent = await fetch(`/upload/voice?name=${name}`, { method: 'POST', body: voice });
      if (!sent.ok) throw new Error(await sent.text());
      const { id } = await sent.json();
      const kept = await fetch(`${this.at}/part`, {
        method: 'POST',
        body: new URLSearchParams({ file: id, steps: JSON.stringify(steps) }),
      });
      if (!kept.ok) {
        const page = new DOMParser().parseFromString(await kept.text(), 'text/html');
        throw new Error(page.querySelector('main')?.innerText.trim().replace(/\s+/g, ' '));
      }
      this.parts = (await kept.json()).parts;
      this.unsent = null;
      this.desk.said('Kept.');
    } catch (error) {
      if (!(error instanceof TypeError) && error.message) why = error.message;
      this.desk.said(`This part has not been saved yet: ${why}`);
    }
    this.sending = false;
    this.told();
  }

  async back() {
    const answer = await fetch(`${this.at}/back`, { method: 'POST' });
    if (!answer.ok) return this.desk.said('It could not be taken back; is the program still running?');
    this.take(await answer.json());
    return this.desk.said('The last part is taken back.');
  }

  /** All parts, one after the other, with what was shown. */
  async hear() {
    if (this.hearing) return this.silent();
    if (this.on || this.parts.length === 0) return undefined;
    const sound = new AudioContext();
    this.hearing = sound;
    this.desk.rest();
    this.told();
    let t = this.desk.track().span[0];
    try {
      for (let part = 0; part < this.parts.length && this.hearing === sound; part += 1) {
        t = await this.hearPart(sound, part, t);
      }
    } catch {
      this.desk.said('It cannot be played here; make the clip and watch that.');
    }
    if (this.hearing === sound) this.silent();
    return undefined;
  }

  async hearPart(sound, part, from) {
    const [voice, steps] = await Promise.all(['voice', 'steps'].map((what) => fetch(`${this.at}/${part}/${what}`)));
    if (!voice.ok || !steps.ok) throw new Error('gone');
    const shown = new Shown(await steps.json(), this.desk.track(), from);
    const source = sound.createBufferSource();
    source.buffer = await sound.decodeAudioData(await voice.arrayBuffer());
    source.connect(sound.destination);
    if (this.hearing !== sound) return from;
    const began = sound.currentTime;
    source.start();
    return new Promise((done) => {
      const next = () => {
        const now = shown.at(Math.min(sound.currentTime - began, source.buffer.duration));
        if (this.hearing !== sound) return done(now.t);
        this.desk.show(now);
        if (sound.currentTime - began >= source.buffer.duration) return done(now.t);
        return requestAnimationFrame(next);
      };
      next();
    });
  }

  silent() {
    this.hearing?.close();
    this.hearing = null;
    this.desk.show(null);
    this.told();
  }
}
