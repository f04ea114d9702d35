// The desk of one serve: two pictures, one clock, and what a hand and a keyboard do with them.

import { Track, fromContact, otherTime, spread } from './tracks.js';
import { SEEN, drawFigure } from './figure.js';
import { Reel } from './reel.js';
import { Pen, describe, drawCross, drawMark, drawPoint } from './hand.js';
import { Voice } from './voice.js';

const SVG = 'http://www.w3.org/2000/svg';
const REST_MS = 160;
/** While a serve plays, a drawing stays this long on either side of its frame, s. */
const LINGER_S = 0.12;
const CHALK = '#e6b45a';

const root = document.querySelector('#viewer');
const one = (selector, from = root) => from.querySelector(selector);
const all = (selector) => [...root.querySelectorAll(selector)];

const state = {
  t: 0,
  playing: false,
  speed: 1,
  looping: false,
  mode: 'time',
  joints: true,
  seen: [...SEEN.side],
  along: null,
};

/** One of the two pictures. */
class View {
  constructor(figure, ink) {
    this.figure = figure;
    this.ink = ink;
    this.canvas = one('canvas', figure);
    this.context = this.canvas.getContext('2d');
    this.under = one('.under', figure);
    this.wait = one('.wait', figure);
    this.whole();
  }

  whole() {
    this.zoom = 1;
    this.shift = [0, 0];
  }

  show(track) {
    this.reel?.close();
    this.reel = null;
    this.track = track;
    this.whole();
    if (track.picture) {
      this.reel = new Reel(track.serve, () => {
        this.told();
        knobs();
        redraw();
      });
      this.reel.open().catch(() => this.lost());
    }
    this.told();
  }

  lost() {
    this.reel.state = { state: 'none', why: 'the page lost its program; start it again' };
    this.told();
    redraw();
  }

  /** A clip's picture, or the figure. */
  get pictured() {
    return this.reel?.state.state === 'ready';
  }

  /** What is being waited for, and how to stop it. */
  told() {
    const said = this.reel?.state ?? { state: 'ready' };
    this.figure.classList.toggle('pictured', this.pictured);
    this.wait.hidden = said.state === 'ready';
    if (this.wait.hidden) return;
    const text = {
      making: `Making its pictures${said.of ? `: ${said.done} of ${said.of}` : ''}${said.left ? `, about ${Math.ceil(said.left)} s left` : ''}. Until then the figure.`,
      waiting: "Its pictures come after the other's. Until then the figure.",
      none: `No picture: ${said.why}.`,
      stopped: 'Stopped. The figure is shown.',
    }[said.state];
    const button = { making: 'Stop', waiting: null, none: null, stopped: 'Make its pictures' }[said.state];
    if (!one('p', this.wait)) this.wait.append(document.createElement('p'));
    one('p', this.wait).textContent = text;
    let knob = one('button', this.wait);
    if (!button) return knob?.remove();
    if (!knob) {
      knob = document.createElement('button');
      knob.type = 'button';
      knob.addEventListener('click', () => {
        const again = this.reel.state.state === 'stopped';
        (again ? this.reel.again() : this.reel.stop()).catch(() => this.lost());
      });
      this.wait.append(knob);
    }
    knob.textContent = button;
    return undefined;
  }

  /** Where the clip's picture lies on the canvas: left, top, pixels of the canvas per pixel of the clip. */
  placed(size) {
    const [across, down] = this.track.picture.size;
    const scale = Math.min(size[0] / across, size[1] / down) * this.zoom;
    return [
      (size[0] - across * scale) / 2 + this.shift[0],
      (size[1] - down * scale) / 2 + this.shift[1],
      scale,
    ];
  }

  /** Width of what is shown by its height: the clip's, or what a figure seen from the side takes (our estimate). */
  get shape() {
    const [across, down] = this.pictured ? this.track.picture.size : [4, 5];
    return across / down;
  }

  size() {
    return [this.canvas.clientWidth, this.canvas.clientHeight];
  }

  fit() {
    const dense = Math.min(devicePixelRatio || 1, 2);
    const [across, down] = this.size().map((px) => Math.round(px * dense));
    if (this.canvas.width !== across || this.canvas.height !== down) {
      this.canvas.width = across;
      this.canvas.height = down;
    }
    this.context.setTransform(dense, 0, 0, dense, 0, 0);
  }

  draw(t, way) {
    if (!this.track) return;
    this.fit();
    const size = this.size();
    const { context, track } = this;
    context.clearRect(0, 0, ...size);
    const frame = track.frameAt(t);
    if (this.pictured) {
      this.reel.want(frame, this.ahead(t, frame, way));
      const [picture, shown] = this.reel.shown(frame);
      this.seen = [frame, shown];
      if (picture) {
        const [left, top, scale] = this.placed(size);
        const [across, down] = track.picture.size;
        // At rest as well as can be; in motion as fast.
        context.imageSmoothingQuality = way === 0 ? 'high' : 'low';
        context.drawImage(picture, left, top, across * scale, down * scale);
        if (state.joints) this.bones(shown, left, top, scale);
        this.marks(frame, left, top, scale);
      }
    } else {
      this.seen = null;
      const inks = { body: colour(this.ink), paper: colour('ground'), quiet: colour('quiet') };
      const view = { seen: state.seen, zoom: this.zoom, shift: this.shift };
      drawFigure(context, size, track, t, view, inks);
    }
    const at = track.times.length > 1 ? track.times[frame] : t;
    const number = track.times.length > 1 ? `, frame ${track.first + frame}` : '';
    const mirrored = track.mirrored && !this.pictured ? ', drawn mirrored' : '';
    const words = `${fromContact(this.pictured ? at : t)}${number}${mirrored}`;
    if (words !== this.words) {
      this.words = words;
      this.under.textContent = words;
      if (!state.playing) this.canvas.setAttribute('aria-label', `${track.who}: ${words}`);
    }
  }

  /** The frames that come next: those that playing will show, at rest the neighbours; nobody knows where
   * a hand goes. */
  ahead(t, frame, way) {
    if (state.playing) return [1, 2, 3].map((k) => this.track.frameAt(t + (k / 60) / state.speed));
    return way === 0 ? [frame + 1, frame - 1] : [];
  }

  /** What was drawn on this frame, and what is being drawn. */
  marks(frame, left, top, scale) {
    const to = ([x, y]) => [left + x * scale, top + y * scale];
    if (this === views.this && heard) {
      for (const mark of heard.drawings) drawMark(this.context, mark, to, CHALK);
      if (heard.point) drawPoint(this.context, to(heard.point), CHALK);
      return;
    }
    const times = this.track.times;
    for (const mark of this.track.drawn) {
      const away = Math.abs(times[mark.frame] - times[frame]);
      // While a voice is recorded, what plays is the picture alone: so will the clip.
      const there = state.playing ? !voice.on && away < LINGER_S : mark.frame === frame;
      if (there) drawMark(this.context, mark, to, CHALK);
    }
    if (this !== views.this || !pen.tool) return;
    if (pen.sofar) drawMark(this.context, pen.sofar, to, CHALK);
    if (pen.at && document.activeElement === this.canvas) drawCross(this.context, to(pen.at), CHALK);
  }

  /** The place in the clip under a place on the canvas, kept inside the picture. */
  place([x, y]) {
    const [left, top, scale] = this.placed(this.size());
    const [across, down] = this.track.picture.size;
    const inside = (v, most) => Math.min(most, Math.max(0, Math.round(v * 10) / 10));
    return [inside((x - left) / scale, across), inside((y - top) / scale, down)];
  }

  /** The joints that were read in the picture: white on a dark rim, seen on any ground. */
  bones(frame, left, top, scale) {
    const { context } = this;
    const { bones, points } = this.track.picture;
    const places = points[frame] ?? [];
    const path = new Path2D();
    for (const [a, b] of bones) {
      const [from, to] = [places[a], places[b]];
      if (!from || !to) continue;
      path.moveTo(left + from[0] * scale, top + from[1] * scale);
      path.lineTo(left + to[0] * scale, top + to[1] * scale);
    }
    context.lineCap = 'round';
    for (const [ink, wide] of [['#111', 4], ['#fff', 1.8]]) {
      context.strokeStyle = ink;
      context.lineWidth = wide;
      context.stroke(path);
    }
  }
}

let colours = {};
function colour(name) {
  colours[name] ??= getComputedStyle(root).getPropertyValue(`--${name}`).trim();
  return colours[name];
}

const pen = new Pen();
/** What is shown while a spoken review is heard. */
let heard = null;
/** Where the hand is on this serve's picture. */
let hand = null;
const voice = new Voice(root, {
  track: () => views.this.track,
  show: (what) => {
    heard = what;
    if (what) state.t = within(what.t);
    redraw(1);
  },
  rest: () => {
    take(null);
    play(false);
  },
  look: () => redraw(),
  said: (text) => said(text),
});
const views = { this: new View(one('.view.this'), 'this'), beside: new View(one('.view.beside'), 'precedent') };
const face = one('.face');
const ruler = one('.ruler');
const ribbon = one('.ribbon');
const cursor = one('.cursor');
const select = one('select[name="beside"]');
const channel = one('select.channel');
const loopEnds = all('select[data-loop]');
const here = [null, null];

// The clock.

const span = () => views.this.track.span;
const xOf = (t) => ((t - span()[0]) / (span()[1] - span()[0])) * face.clientWidth;
const within = (t) => Math.min(span()[1], Math.max(span()[0], t));

function loopSpan() {
  const track = views.this.track;
  const ends = loopEnds.map((end, k) => (end.value === 'here' ? here[k] : track.moment(end.value)));
  const [from, to] = [ends[0] ?? span()[0], ends[1] ?? span()[1]];
  return from < to ? [within(from), within(to)] : [within(to), within(from)];
}

/** To a time, on the frame that is nearest to it. */
function seek(t) {
  const track = views.this.track;
  const wanted = within(t);
  const way = Math.sign(wanted - state.t);
  state.t = track.times.length > 1 ? track.times[track.frameAt(wanted)] : wanted;
  redraw(way);
}

function step(frames) {
  const track = views.this.track;
  play(false);
  if (track.times.length > 1) {
    const at = Math.min(track.times.length - 1, Math.max(0, track.frameAt(state.t) + frames));
    seek(track.times[at]);
  } else seek(state.t + frames / 50);
}

function toMoment(way) {
  const times = views.this.track.moments.map((m) => m.t).filter((t) => t !== null);
  const next = way > 0 ? times.find((t) => t > state.t + 0.004) : times.findLast((t) => t < state.t - 0.004);
  play(false);
  if (next !== undefined) seek(next);
}

function play(on) {
  if (state.playing === on) return;
  state.playing = on;
  if (on) {
    const [from, to] = state.looping ? loopSpan() : span();
    if (state.t >= to - 0.001 || (state.looping && state.t < from)) state.t = from;
    state.last = performance.now();
  } else seek(state.t);
  one('.play span').textContent = on ? 'Stop' : 'Play';
  redraw(1);
}

let asked = false;
let way = 0;
let rest = 0;
function redraw(direction) {
  if (direction !== undefined) way = direction;
  if (asked) return;
  asked = true;
  requestAnimationFrame(frame);
}

function frame(now) {
  asked = false;
  if (!views.this.track) return;
  if (state.playing) {
    const [from, to] = state.looping ? loopSpan() : span();
    state.t += Math.min(0.1, (now - state.last) / 1000) / state.speed;
    state.last = now;
    if (state.t > to) {
      if (state.looping) state.t = from + ((state.t - to) % Math.max(to - from, 0.01));
      else {
        state.t = to;
        play(false);
      }
    }
  }
  views.this.draw(state.t, way);
  const other = views.beside.track;
  if (other) {
    const t = otherTime(views.this.track, other, state.along, state.mode, state.t);
    views.beside.draw(Math.min(other.span[1], Math.max(other.span[0], t)), way);
  }
  cursor.style.transform = `translateX(${xOf(state.t)}px)`;
  if (voice.on) voice.look(inSight());
  if (state.playing) redraw();
  else {
    clearTimeout(rest);
    rest = setTimeout(sharpen, REST_MS);
  }
}

/** What a spoken review shows of this. */
function inSight() {
  const { track } = views.this;
  const frame = track.frameAt(state.t);
  const marks = state.playing ? [] : track.drawn.filter((mark) => mark.frame === frame);
  return {
    playing: state.playing, speed: 1 / state.speed, frame: track.first + frame, point: hand,
    marks: marks.map(({ kind, points, text }) => ({ kind, points, text })),
  };
}

/** At rest a clip is seen as sharply as it is. */
function sharpen() {
  root.dataset.t = state.t.toFixed(3);
  ruler.setAttribute('aria-valuenow', state.t.toFixed(2));
  ruler.setAttribute('aria-valuetext', fromContact(state.t));
  if (way !== 0) redraw(0);
  for (const view of Object.values(views)) {
    if (!view.seen) continue;
    const [wanted, shown] = view.seen;
    view.canvas.dataset.frame = shown ?? '';
    view.canvas.dataset.wanted = wanted;
    if (wanted === shown) view.reel.sharpen(shown).catch(() => view.lost());
  }
}

// Ruler and ribbon.

function rule() {
  const track = views.this.track;
  const wide = face.clientWidth;
  const svg = document.createElementNS(SVG, 'svg');
  svg.setAttribute('width', wide);
  svg.setAttribute('height', 44);
  svg.setAttribute('aria-hidden', 'true');
  const line = (x1, y1, x2, y2, name) => {
    const made = document.createElementNS(SVG, 'line');
    for (const [key, value] of Object.entries({ x1, y1, x2, y2, class: name })) made.setAttribute(key, value);
    svg.append(made);
  };
  const [from, to] = span();
  const close = wide / (to - from) < 130;
  for (let k = Math.ceil(from * 10); k <= to * 10; k += 1) {
    const whole = k % 5 === 0;
    if (close && !whole) continue;
    line(xOf(k / 10), 20, xOf(k / 10), whole ? 29 : 25, 'tick');
    if (!whole) continue;
    const text = document.createElementNS(SVG, 'text');
    text.setAttribute('x', xOf(k / 10));
    text.setAttribute('y', 42);
    text.textContent = k === 0 ? '0' : (k / 10).toFixed(1);
    svg.append(text);
  }
  line(0, 20, wide, 20, 'base');
  const buttons = all('.moment');
  const known = track.moments.map((m, k) => [m, buttons[k]]).filter(([m]) => m.t !== null);
  const room = Math.min(84, wide / 6);
  const places = spread(known.map(([m]) => xOf(m.t)), room, wide);
  buttons.forEach((button) => (button.hidden = true));
  known.forEach(([m, button], k) => {
    button.hidden = false;
    button.style.width = `${room}px`;
    button.style.left = `${places[k] - room / 2}px`;
    one('small', button).textContent = `${m.trust < 0.5 && m.name !== 'contact' ? '~' : ''}${m.t > 0 ? '+' : ''}${m.t.toFixed(2)} s`;
    line(places[k], 0, xOf(m.t), 12, 'lead');
    if (m.by_hand && m.seen !== null) line(xOf(m.seen), 14, xOf(m.seen), 27, 'seen');
    line(xOf(m.t), 12, xOf(m.t), 29, m.by_hand ? 'at hand' : m.name === 'contact' ? 'at contact' : 'at');
    button.classList.toggle('byhand', m.by_hand);
    button.title = m.witness;
  });
  for (const mark of track.drawn) line(xOf(mark.t), 23, xOf(mark.t), 29, 'drawnat');
  const loop = document.createElement('div');
  loop.className = 'loopbar';
  ruler.replaceChildren(svg, loop);
  ruler.setAttribute('aria-valuemin', from.toFixed(2));
  ruler.setAttribute('aria-valuemax', to.toFixed(2));
  showLoop();
}

function showLoop() {
  const [from, to] = loopSpan();
  const bar = one('.loopbar');
  bar.hidden = !state.looping;
  bar.style.left = `${xOf(from)}px`;
  bar.style.width = `${xOf(to) - xOf(from)}px`;
}

let ribbonAt = '';
async function drawRibbon() {
  const track = views.this.track;
  const [left, right] = [xOf(track.start), xOf(track.end)];
  const beside = views.beside.track ? `&beside=${views.beside.track.serve}` : '';
  const at = `/serve/${track.serve}/ribbon/${channel.value}?width=${Math.round(right - left)}${beside}`;
  ribbon.style.marginLeft = `${left}px`;
  if (at === ribbonAt) return;
  ribbonAt = at;
  const answer = await fetch(at);
  if (!answer.ok || at !== ribbonAt) return;
  const said = await answer.json();
  ribbon.innerHTML = said.drawing;
  one('.deviations').textContent = said.deviations.map((words) => `${words}.`).join(' ');
  const band = one('.key.band');
  band.hidden = !said.band;
  band.textContent = said.band ?? '';
  one('.key.beside').hidden = !beside;
}

function scrub(event) {
  const x = event.clientX - face.getBoundingClientRect().left;
  const [from, to] = span();
  seek(from + (x / face.clientWidth) * (to - from));
}

for (const part of [ruler, ribbon]) {
  part.addEventListener('pointerdown', (event) => {
    if (event.button !== 0) return;
    if (voice.hearing) voice.silent();
    play(false);
    part.setPointerCapture(event.pointerId);
    ruler.focus({ preventScroll: true });
    scrub(event);
    event.preventDefault();
  });
  part.addEventListener('pointermove', (event) => {
    if (part.hasPointerCapture(event.pointerId)) scrub(event);
  });
}

// Hands on a picture: turn the figure, move what is close.

for (const view of Object.values(views)) {
  let last = null;
  view.canvas.addEventListener('pointerdown', (event) => {
    if (event.button !== 0) return;
    view.canvas.setPointerCapture(event.pointerId);
    if (pen.tool && view === views.this) {
      event.preventDefault();
      putPoint(view.place(over(view, event)));
      return;
    }
    last = [event.clientX, event.clientY];
  });
  view.canvas.addEventListener('pointermove', (event) => {
    if (pen.tool && view === views.this && view.pictured) {
      pen.at = view.place(over(view, event));
      redraw(0);
      return;
    }
    if (view === views.this && voice.on && view.pictured) {
      hand = view.place(over(view, event));
      redraw();
    }
    if (!last || !view.canvas.hasPointerCapture(event.pointerId)) return;
    const [dx, dy] = [event.clientX - last[0], event.clientY - last[1]];
    last = [event.clientX, event.clientY];
    if (!view.pictured && !event.shiftKey) {
      state.seen[0] = (state.seen[0] - dx * 0.5 + 360) % 360;
      state.seen[1] = Math.min(89.9, Math.max(-20, state.seen[1] + dy * 0.5));
      press('[data-seen]', () => false);
    } else if (view.zoom > 1) view.shift = [view.shift[0] + dx, view.shift[1] + dy];
    redraw(0);
  });
  view.canvas.addEventListener('pointerup', (event) => {
    last = null;
    // Drawn in one pull: the second point is where the hand lets go.
    if (!['line', 'arrow', 'ring'].includes(pen.tool) || view !== views.this || pen.points.length !== 1) return;
    const to = view.place(over(view, event));
    const [from] = pen.points;
    if (Math.hypot(to[0] - from[0], to[1] - from[1]) > 6) putPoint(to);
  });
  view.canvas.addEventListener('pointerleave', () => {
    if (view !== views.this || !hand) return;
    hand = null;
    redraw();
  });
  view.canvas.addEventListener('wheel', (event) => {
    if (!event.ctrlKey && !event.metaKey) return;
    event.preventDefault();
    closer([view], Math.exp(-event.deltaY / 300), over(view, event));
  }, { passive: false });
}

function over(view, event) {
  const box = view.canvas.getBoundingClientRect();
  return [event.clientX - box.left, event.clientY - box.top];
}

function closer(which, by, point) {
  for (const view of which) {
    const size = view.size();
    const zoom = Math.min(12, Math.max(1, view.zoom * by));
    const [x, y] = point ?? [size[0] / 2, size[1] / 2];
    const grown = zoom / view.zoom;
    // What lies under the pointer stays there.
    view.shift = zoom === 1 ? [0, 0] : view.shift.map((s, k) => {
      const from = (k === 0 ? x : y) - size[k] / 2;
      return from - (from - s) * grown;
    });
    view.zoom = zoom;
  }
  redraw(0);
}

// Buttons and keys.

function press(selector, is) {
  for (const button of all(selector)) button.setAttribute('aria-pressed', String(is(button)));
}

function setSpeed(speed) {
  state.speed = speed;
  press('[data-speed]', (button) => Number(button.dataset.speed) === speed);
}

function setMode(mode) {
  if (mode === 'phase' && !state.along) return;
  state.mode = mode;
  press('[data-mode]', (button) => button.dataset.mode === mode);
  redraw(0);
}

function setLoop(on) {
  state.looping = on;
  press('[data-do="loop"]', () => on);
  showLoop();
}

function loopHere(k) {
  here[k] = state.t;
  loopEnds[k].value = 'here';
  setLoop(true);
}

function see(name) {
  state.seen = [...SEEN[name]];
  press('[data-seen]', (button) => button.dataset.seen === name);
  redraw(0);
}

function nextOf(selector, pressed, values) {
  const now = all(selector).findIndex((button) => button.getAttribute('aria-pressed') === 'true');
  return values[(now + 1) % values.length];
}

const deeds = {
  play: () => play(!state.playing),
  back: () => step(-1),
  on: () => step(1),
  loop: () => setLoop(!state.looping),
  joints: () => {
    state.joints = !state.joints;
    press('[data-do="joints"]', () => state.joints);
    redraw(0);
  },
  closer: () => closer(Object.values(views), 1.5),
  farther: () => closer(Object.values(views), 1 / 1.5),
  whole: () => closer(Object.values(views), 0),
  put: () => putMoment(one('select.put').value, true),
  unput: () => putMoment(one('select.put').value, false),
  undo: () => views.this.track.undo && send('undo', { change: views.this.track.undo }, 'Taken back'),
  drop: () => take(null),
  next: () => {
    if (!select) return;
    select.selectedIndex = (select.selectedIndex + 1) % select.options.length;
    hold(select.value);
  },
};

const keys = {
  ' ': deeds.play, l: deeds.loop, j: deeds.joints, r: deeds.next, 0: deeds.whole, '+': deeds.closer, '=': deeds.closer, '-': deeds.farther,
  t: () => setMode(state.mode === 'time' ? 'phase' : 'time'),
  p: deeds.put, u: deeds.undo, s: () => voice.record(), h: () => voice.hear(),
  a: () => take('angle'), i: () => take('line'), w: () => take('arrow'), o: () => take('ring'), x: () => take('words'),
  Escape: () => take(null),
  v: () => see(nextOf('[data-seen]', true, Object.keys(SEEN))),
  ArrowLeft: (event) => step(event.shiftKey ? -10 : -1),
  ArrowRight: (event) => step(event.shiftKey ? 10 : 1),
  Home: () => seek(span()[0]),
  End: () => seek(span()[1]),
  ',': () => toMoment(-1),
  '.': () => toMoment(1),
  '[': () => loopHere(0),
  ']': () => loopHere(1),
};
for (const speed of [1, 2, 4, 8]) keys[speed] = () => setSpeed(speed);

document.addEventListener('keydown', (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey || !views.this.track) return;
  const at = event.target;
  if (event.key === 'Escape' && at.closest('form.words')) take(null);
  if (at.closest('input, textarea, select')) return;
  // A button in focus keeps the keys that press it.
  if (event.key === ' ' && at.closest('button, a, summary')) return;
  if (pen.tool && at === views.this.canvas && pull(event)) return;
  const deed = keys[event.key.length === 1 ? event.key.toLowerCase() : event.key];
  if (!deed || ('sh'.includes(event.key) && one('[data-voice]').hidden)) return;
  event.preventDefault();
  if (voice.hearing && event.key !== 'h') voice.silent();
  deed(event);
});

root.addEventListener('click', (event) => {
  const button = event.target.closest('button');
  if (!button || !views.this.track) return;
  const { speed, mode, seen, moment, tool, go, erase, say } = button.dataset;
  if (voice.hearing && !say) voice.silent();
  if (button.dataset.do) deeds[button.dataset.do]();
  if (speed) setSpeed(Number(speed));
  if (mode) setMode(mode);
  if (seen) see(seen);
  if (tool) take(pen.tool === tool ? null : tool);
  if (go) {
    play(false);
    seek(Number(go));
  }
  if (erase) send('erase', { mark: erase }, 'Taken off');
  if (moment) {
    play(false);
    seek(views.this.track.moment(moment));
  }
});

for (const end of loopEnds) {
  end.addEventListener('change', () => {
    if (end.value === 'here') here[Number(end.dataset.loop)] = state.t;
    setLoop(true);
  });
}
channel.addEventListener('change', () => drawRibbon());
select?.addEventListener('change', () => hold(select.value));
select?.form.addEventListener('submit', (event) => event.preventDefault());
document.addEventListener('click', (event) => {
  const link = event.target.closest('a.hold');
  if (!link || event.ctrlKey || event.metaKey || event.shiftKey || !select) return;
  select.value = link.dataset.beside;
  if (select.value !== link.dataset.beside) return;
  event.preventDefault();
  hold(link.dataset.beside);
  root.scrollIntoView({ block: 'start' });
});

// The hand.

const words = one('form.words');

/** Takes up a tool, or lays it down. */
function take(tool) {
  const drawable = views.this.pictured;
  if (tool && !drawable) return said('There is no picture here to draw on.');
  pen.take(tool);
  play(false);
  press('[data-tool]', (button) => button.dataset.tool === tool);
  words.hidden = true;
  const canvas = views.this.canvas;
  canvas.classList.toggle('drawing', Boolean(tool));
  if (tool) {
    canvas.tabIndex = 0;
    canvas.focus({ preventScroll: true });
    said({
      angle: 'Three points: on one leg, at the corner, on the other. The angle lies in the picture.',
      line: 'From one point to another.',
      arrow: 'From its end to its head.',
      ring: 'From the middle outwards.',
      words: 'Where the words go.',
    }[tool]);
  } else canvas.removeAttribute('tabindex');
  redraw(0);
  return undefined;
}

function putPoint(place) {
  const whole = pen.put(place);
  redraw(0);
  if (!whole) return;
  if (pen.tool === 'words') {
    words.hidden = false;
    one('input', words).value = '';
    one('input', words).focus({ preventScroll: true });
  } else drawn(pen.tool, pen.points, '');
}

/** Arrow keys move the hand over the picture, Enter puts a point. */
function pull(event) {
  const by = event.shiftKey ? 40 : 8;
  const ways = { ArrowLeft: [-by, 0], ArrowRight: [by, 0], ArrowUp: [0, -by], ArrowDown: [0, by] };
  const view = views.this;
  const size = view.track.picture.size;
  pen.at ??= view.place(view.size().map((px) => px / 2));
  if (ways[event.key]) {
    pen.at = pen.at.map((v, k) => Math.min(size[k], Math.max(0, v + ways[event.key][k])));
  } else if (event.key === 'Enter') putPoint(pen.at);
  else return false;
  event.preventDefault();
  redraw(0);
  return true;
}

/** The frame of the recording in sight. */
function recorded() {
  const track = views.this.track;
  return track.recorded[track.frameAt(state.t)] ?? null;
}

function drawn(kind, points, text) {
  const frame = recorded();
  take(null);
  if (frame === null) return said('Nobody was seen in this frame; go to another one.');
  const fields = { kind, frame, points: points.map((place) => place.join(',')).join(' ') };
  return send('draw', text ? { ...fields, text } : fields, 'Kept');
}

words.addEventListener('submit', (event) => {
  event.preventDefault();
  const text = one('input', words).value.trim();
  if (text) drawn('words', pen.points, text);
});

function putMoment(event, here) {
  const frame = recorded();
  if (here && frame === null) return said('Nobody was seen in this frame; go to another one.');
  const label = views.this.track.moments.find((m) => m.name === event).label;
  return send('moment', here ? { event, frame } : { event }, here ? `Marked here: ${label}` : `Back to the program's: ${label}`);
}

function said(text) {
  one('p.said').textContent = text;
}

/** Sends a change; the answer is the serve as it is now. */
async function send(what, fields, done) {
  const serve = root.dataset.serve;
  said('Being kept ...');
  const answer = await fetch(`/serve/${serve}/${what}`, { method: 'POST', body: new URLSearchParams(fields) });
  if (!answer.ok) {
    const page = new DOMParser().parseFromString(await answer.text(), 'text/html');
    said(`Not kept. ${page.querySelector('h1')?.textContent ?? ''}`);
    return;
  }
  const before = views.this.track;
  const at = before.recorded[before.frameAt(state.t)];
  views.this.track = new Track(await answer.json());
  const now = views.this.track;
  // Contact may have moved, and with it every time; the frame in sight stays.
  const frame = now.recorded.indexOf(at);
  if (frame >= 0) state.t = now.times[frame];
  said(`${done}.`);
  ribbonAt = '';
  showHand();
  rule();
  redraw(0);
  if (['moment', 'undo'].includes(what)) await follow(before);
}

/** After a moment moved: film, ribbon, the other serve and what is said of this one follow. */
async function follow(before) {
  const now = views.this.track;
  if (before.first !== now.first || before.times.length !== now.times.length) views.this.show(now);
  if (select) await hold(select.value);
  else drawRibbon();
  const answer = await fetch(location.href);
  if (!answer.ok) return;
  const page = new DOMParser().parseFromString(await answer.text(), 'text/html');
  for (const part of ['.order', '#like', '#read']) {
    const fresh = page.querySelector(part);
    if (fresh) document.querySelector(part)?.replaceWith(fresh);
  }
}

/** What was drawn, in words, and whether the last of it can be taken back. */
function showHand() {
  const track = views.this.track;
  const lines = track.drawn.map((mark) => {
    const line = document.createElement('li');
    const text = `${fromContact(mark.t)}: ${describe(mark)}, by ${mark.by}`;
    for (const [what, value, name] of [['go', mark.t, text], ['erase', mark.id, 'take off']]) {
      const button = document.createElement('button');
      button.type = 'button';
      button.dataset[what] = value;
      button.textContent = name;
      if (what === 'erase') button.setAttribute('aria-label', `Take off: ${text}`);
      line.append(button);
    }
    return line;
  });
  one('ul.drawn').replaceChildren(...lines);
  one('[data-do="undo"]').hidden = !track.undo;
  const put = track.moments.find((m) => m.name === one('select.put').value);
  one('[data-do="unput"]').hidden = !put?.by_hand;
}
one('select.put').addEventListener('change', showHand);

// Loading.

async function told(address) {
  const answer = await fetch(address);
  if (!answer.ok) throw new Error(`${address}: ${answer.status}`);
  return answer.json();
}

/** Holds another serve beside this one. */
async function hold(serve) {
  let pair;
  try {
    pair = await told(`/serve/${root.dataset.serve}/moving/${serve}`);
  } catch {
    said('The other serve cannot be shown; choose another, or load the page again.');
    return;
  }
  if (select && select.value !== serve) return;
  views.beside.show(new Track(pair.beside));
  state.along = pair.along;
  const phase = one('[data-mode="phase"]');
  phase.disabled = !pair.along;
  phase.title = pair.along ? '' : 'These two were recorded in ways that share no curve.';
  if (!pair.along) setMode('time');
  all('.moment .small').forEach((place, k) => (place.innerHTML = pair.figures[k]));
  const address = new URL(location.href);
  address.searchParams.set('beside', serve);
  history.replaceState(null, '', address);
  one('a.go').href = `/serve/${serve}`;
  knobs();
  drawRibbon();
  redraw(0);
}

/** Hides what there is nothing to do with. */
function knobs() {
  const shown = Object.values(views).filter((view) => view.track);
  for (const part of all('[data-pair]')) part.hidden = !views.beside.track;
  one('[data-drawing]').hidden = !views.this.track.picture;
  // On a phone the pictures are as high as what is in them asks for, and lying ones stand one over the other.
  const shapes = shown.map((view) => view.shape);
  root.classList.toggle('alone', !views.beside.track);
  root.classList.toggle('lying', Math.min(...shapes) > 1.2);
  root.style.setProperty('--shape', Math.min(...shapes));
  if (!voice.on) one('[data-voice]').hidden = !views.this.pictured || !navigator.mediaDevices;
  showHand();
  one('[data-do="joints"]').hidden = !shown.some((view) => view.track.picture);
  one('[data-figure]').hidden = shown.every((view) => view.pictured || view.track.flat);
}

function layOut() {
  if (!views.this.track || face.clientWidth === 0) return;
  rule();
  drawRibbon();
  redraw(0);
}

async function begin() {
  root.hidden = false;
  const track = new Track(await told(`/serve/${root.dataset.serve}/moving`));
  views.this.show(track);
  one('.view.this .whose').textContent = track.who;
  state.t = within(track.moment('trophy') ?? 0);
  see('side');
  knobs();
  layOut();
  seek(state.t);
  if (select) await hold(select.value);
  await voice.begin();
  root.dataset.ready = 'yes';
}

new ResizeObserver(layOut).observe(face);
new ResizeObserver(() => redraw(0)).observe(one('.stage canvas'));
matchMedia('(prefers-color-scheme: dark)').addEventListener('change', () => {
  colours = {};
  redraw(0);
});
// For whoever measures how well the pictures follow: what is wanted and what is shown.
root.shown = () => Object.values(views).map((view) => view.seen);
begin().catch((error) => {
  one('.view.this .under').textContent = 'The serve cannot be shown; load the page again.';
  throw error;
});
