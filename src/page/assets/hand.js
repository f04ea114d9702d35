// The hand on the picture: what was drawn on a frame, and what is being drawn. Places are pixels of the
// clip, so that a drawing stays where it is whatever the window does.

const NEEDS = { angle: 3, line: 2, arrow: 2, ring: 2, words: 1 };
const RIM = '#14110a';

/** The angle at the second point as it lies in the picture's plane, degrees. */
export function angleDeg([a, vertex, b]) {
  const [ax, ay, bx, by] = [a[0] - vertex[0], a[1] - vertex[1], b[0] - vertex[0], b[1] - vertex[1]];
  return (Math.atan2(Math.abs(ax * by - ay * bx), ax * bx + ay * by) / Math.PI) * 180;
}

/** What a mark is called. */
export function describe(mark) {
  if (mark.kind === 'angle') return `angle of ${angleDeg(mark.points).toFixed(0)} deg in the picture`;
  if (mark.kind === 'words') return `“${mark.text}”`;
  return mark.kind;
}

/** Draws a mark; `to` takes a place in the clip to the canvas. Points still to be set may be missing. */
export function drawMark(context, mark, to, ink) {
  const places = mark.points.map(to);
  const path = new Path2D();
  const [a, b, c] = places;
  let label = null;
  if (mark.kind === 'angle') {
    for (const place of places) path.lineTo(...place);
    if (c) {
      const [from, until] = [a, c].map((p) => Math.atan2(p[1] - b[1], p[0] - b[0]));
      const near = Math.min(26, 0.5 * Math.min(Math.hypot(a[0] - b[0], a[1] - b[1]), Math.hypot(c[0] - b[0], c[1] - b[1])));
      const turn = (until - from + 4 * Math.PI) % (2 * Math.PI);
      path.moveTo(b[0] + near * Math.cos(from), b[1] + near * Math.sin(from));
      path.arc(...b, near, from, until, turn > Math.PI);
      const middle = from + (turn > Math.PI ? turn - 2 * Math.PI : turn) / 2;
      label = [`${angleDeg(mark.points).toFixed(0)} deg`, b[0] + (near + 26) * Math.cos(middle), b[1] + (near + 14) * Math.sin(middle)];
    }
  } else if (mark.kind === 'ring' && b) {
    path.arc(...a, Math.hypot(b[0] - a[0], b[1] - a[1]), 0, 2 * Math.PI);
  } else if (mark.kind !== 'words' && b) {
    path.moveTo(...a);
    path.lineTo(...b);
    if (mark.kind === 'arrow') {
      const way = Math.atan2(b[1] - a[1], b[0] - a[0]);
      for (const side of [-0.45, 0.45]) {
        path.moveTo(...b);
        path.lineTo(b[0] - 16 * Math.cos(way + side), b[1] - 16 * Math.sin(way + side));
      }
    }
  }
  context.lineCap = 'round';
  context.lineJoin = 'round';
  for (const [stroke, wide] of [[RIM, 6], [ink, 3]]) {
    context.strokeStyle = stroke;
    context.lineWidth = wide;
    context.stroke(path);
  }
  if (mark.kind === 'words' && a) label = [mark.text, a[0], a[1]];
  if (label) plate(context, ...label, ink);
}

function plate(context, text, x, y, ink) {
  context.font = '600 15px sans-serif';
  context.textAlign = 'center';
  const wide = context.measureText(text).width + 12;
  const left = Math.max(2, Math.min(context.canvas.clientWidth - wide - 2, x - wide / 2));
  context.fillStyle = RIM;
  context.fillRect(left, y - 12, wide, 24);
  context.fillStyle = ink;
  context.fillText(text, left + wide / 2, y + 5);
}

/** What is being drawn, point by point. */
export class Pen {
  constructor() {
    this.drop();
  }

  take(tool) {
    this.drop();
    this.tool = tool;
  }

  drop() {
    this.tool = null;
    this.points = [];
    this.at = null;
  }

  /** Sets a point; true once the drawing has all it needs. */
  put(place) {
    const last = this.points.at(-1);
    if (last && last[0] === place[0] && last[1] === place[1]) return false;
    this.points.push(place);
    return this.points.length === NEEDS[this.tool];
  }

  /** The drawing so far, its next point where the hand is. */
  get sofar() {
    if (!this.tool || this.tool === 'words') return null;
    const points = this.at ? [...this.points, this.at] : this.points;
    return { kind: this.tool, points: points.slice(0, NEEDS[this.tool]) };
  }
}

/** Draws where a hand points. */
export function drawPoint(context, [x, y], ink) {
  for (const [stroke, wide] of [[RIM, 6], [ink, 3]]) {
    context.strokeStyle = stroke;
    context.lineWidth = wide;
    context.beginPath();
    context.arc(x, y, 9, 0, 2 * Math.PI);
    context.stroke();
  }
}

/** Draws where the keyboard's hand is. */
export function drawCross(context, [x, y], ink) {
  for (const [stroke, wide] of [[RIM, 4], [ink, 2]]) {
    context.strokeStyle = stroke;
    context.lineWidth = wide;
    context.beginPath();
    context.moveTo(x - 12, y);
    context.lineTo(x + 12, y);
    context.moveTo(x, y - 12);
    context.lineTo(x, y + 12);
    context.stroke();
  }
}
