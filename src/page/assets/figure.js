// The body in space, drawn with true proportions from any side. The radii are a drawing's, as in the
// reports; no measure depends on them.

/** Where the reader stands: turn about the vertical, then tilt; degrees. */
export const SEEN = { behind: [0, 0], side: [90, 0], front: [180, 0], above: [0, 89.9] };

const ARMS = ['right', 'left'].map((side) => [
  [`${side}_shoulder`, 0.03], [`${side}_elbow`, 0.022], [`${side}_wrist`, 0.0145], [`${side}_hand_`, 0.017],
]);
const LEGS = ['left', 'right'].map((side) => [
  ['neck_', 0.04], [`${side}_hip`, 0.046], [`${side}_knee`, 0.03], [`${side}_ankle`, 0.018], [`${side}_toe`, 0.011],
]);
const REACH = 0.35;
const AROUND = Array.from({ length: 16 }, (_, k) => [Math.cos((k / 8) * Math.PI), Math.sin((k / 8) * Math.PI)]);

function mean(body, names) {
  const held = names.map((name) => body.get(name)).filter(Boolean);
  if (held.length === 0) return null;
  return [0, 1, 2].map((k) => held.reduce((sum, place) => sum + place[k], 0) / held.length);
}

function both(body, a, b) {
  return body.get(a) && body.get(b) ? mean(body, [a, b]) : null;
}

function parts(body) {
  const at = (name) => {
    if (name === 'neck_') return body.get('neck') ?? both(body, 'left_shoulder', 'right_shoulder');
    if (name.endsWith('_hand_')) {
      const side = name.slice(0, -6);
      return mean(body, [`${side}_index`, `${side}_little`]) ?? body.get(`${side}_hand`) ?? null;
    }
    return body.get(name) ?? null;
  };
  const out = [];
  const chain = (joints, from) => {
    const held = joints.map(([name, r]) => [at(name), r]);
    for (let k = from; k + 1 < held.length; k += 1) {
      if (held[k][0] && held[k + 1][0]) out.push({ circles: [held[k], held[k + 1]], halo: true });
    }
    for (let k = 0; k + 2 < held.length; k += 1) {
      const [[a, ra], [joint, r], [b, rb]] = held.slice(k, k + 3);
      if (!a || !joint || !b) continue;
      for (const [end, radius] of [[a, ra], [b, rb]]) {
        const near = joint.map((v, axis) => v + REACH * (end[axis] - v));
        out.push({ circles: [[joint, r], [near, r + REACH * (radius - r)]], halo: false, between: [[a, joint], [joint, b]] });
      }
    }
  };
  for (const arm of ARMS) chain(arm, 0);
  for (const leg of LEGS) chain(leg, 1);
  for (const side of ['left', 'right']) {
    const foot = [[at(`${side}_heel`), 0.016], [at(`${side}_toe`), 0.011], [at(`${side}_ankle`), 0.018]];
    if (foot[0][0] && foot[1][0]) out.push({ circles: foot.filter(([place]) => place), halo: true });
  }
  const neck = at('neck_');
  if (neck && (at('left_hip') || at('right_hip'))) {
    const trunk = [
      [at('left_shoulder'), 0.036], [at('right_shoulder'), 0.036], [neck, 0.04],
      [both(body, 'left_hip', 'right_hip'), 0.06], [at('left_hip'), 0.046], [at('right_hip'), 0.046],
    ];
    out.push({ circles: trunk.filter(([place]) => place), halo: true });
  }
  const head = at('head') ?? both(body, 'left_ear', 'right_ear')
    ?? mean(body, ['nose', 'left_eye', 'right_eye', 'left_ear', 'right_ear']);
  if (head) {
    if (neck) out.push({ circles: [[neck, 0.026], [head, 0.024]], halo: false });
    out.push({ circles: [[head, 0.06]], halo: true });
  }
  const hand = at('right_hand_') ?? at('right_wrist');
  const [throat, tip] = [at('racket_throat'), at('racket_tip')];
  if (hand && throat) out.push({ circles: [[hand, 0.011], [throat, 0.011]], halo: true });
  if (throat && tip) out.push({ circles: [[throat, 0.022], [tip, 0.022]], halo: true });
  else if (hand && tip) out.push({ circles: [[hand, 0.011], [tip, 0.011]], halo: true });
  return out;
}

/** Corners of the convex hull (Andrew's monotone chain). */
function hull(points) {
  points.sort((a, b) => a[0] - b[0] || a[1] - b[1]);
  const turn = (o, a, b) => (a[0] - o[0]) * (b[1] - o[1]) - (a[1] - o[1]) * (b[0] - o[0]);
  const out = [];
  for (const pass of [points, points.slice().reverse()]) {
    const start = out.length;
    for (const point of pass) {
      while (out.length >= start + 2 && turn(out.at(-2), out.at(-1), point) <= 0) out.pop();
      out.push(point);
    }
    out.pop();
  }
  return out;
}

/** Body frame (x hitting side, y net, z up; statures) to right, up and how near the reader. */
function turned([turnDeg, tiltDeg]) {
  const [turn, tilt] = [turnDeg, tiltDeg].map((deg) => (deg / 180) * Math.PI);
  const [c, s, ct, st] = [Math.cos(turn), Math.sin(turn), Math.cos(tilt), Math.sin(tilt)];
  return ([x, y, z]) => {
    const away = -x * s + y * c;
    return [x * c + y * s, z * ct + away * st, z * st - away * ct];
  };
}

/** The point the body is drawn around: the middle of the hips, as in the reports. */
function hips(body) {
  return both(body, 'left_hip', 'right_hip') ?? mean(body, [...body.keys()]) ?? [0, 0, 0];
}

/** The room the body takes around its hips over the serve, once a serve; `spots`: where it was, seen from above. */
function room(track) {
  if (track.room) return track.room;
  let [wide, net, low, high] = [0.3, 0.3, 0, 0.5];
  const spots = [];
  for (let sample = 0; sample <= 100; sample += 2) {
    const body = track.bodyAt(track.timeAt(sample));
    const [x, y] = hips(body);
    for (const place of body.values()) {
      const spot = [place[0] - x, place[1] - y];
      spots.push(spot);
      wide = Math.max(wide, Math.hypot(...spot));
      net = Math.max(net, spot[1]);
      low = Math.min(low, place[2]);
      high = Math.max(high, place[2]);
    }
  }
  track.room = { wide: wide + 0.06, net: net + 0.06, low, high: high + 0.08, spots };
  return track.room;
}

/** How far it reaches to the left and to the right of its hips over the serve, as the reader stands. */
function across(track, turnDeg) {
  const { spots } = room(track);
  if (track.across?.turnDeg === turnDeg) return track.across.reach;
  const turn = (turnDeg / 180) * Math.PI;
  const [c, s] = [Math.cos(turn), Math.sin(turn)];
  const reach = [-0.3, 0.3];
  for (const [x, y] of spots) {
    const right = x * c + y * s;
    reach[0] = Math.min(reach[0], right - 0.06);
    reach[1] = Math.max(reach[1], right + 0.06);
  }
  track.across = { turnDeg, reach };
  return reach;
}

/**
 * Draws a serve's body at a time. `inks`: body, paper and quiet as CSS colours; `view`: turn and tilt
 * in degrees, zoom and shift. A body without depth is drawn as its camera saw it, wherever the reader stands.
 */
export function drawFigure(context, size, track, t, view, inks) {
  const { wide, net, low, high } = room(track);
  const body = track.bodyAt(t);
  const middle = hips(body);
  const seen = track.flat ? SEEN.behind : view.seen;
  const tilt = (seen[1] / 180) * Math.PI;
  const tall = (high - low) * Math.cos(tilt) + 2 * wide * Math.abs(Math.sin(tilt));
  const [left, right] = across(track, seen[0]);
  const scale = Math.min((size[1] - 28) / tall, (size[0] - 16) / (right - left)) * view.zoom;
  const project = turned(seen);
  const centre = [middle[0], middle[1], (low + high) / 2];
  const [hx, cy] = project(centre);
  const cx = hx + (left + right) / 2;
  const flat = (place) => {
    const [x, up, near] = project(place);
    return [size[0] / 2 + view.shift[0] + scale * (x - cx), size[1] / 2 + view.shift[1] - scale * (up - cy), near];
  };
  ground(context, flat, middle, net, inks);
  const pieces = parts(body).map((part) => {
    const corners = [];
    let near = 0;
    for (const [place, r] of part.circles) {
      const [x, y, depth] = flat(place);
      near += depth / part.circles.length;
      for (const [c, s] of AROUND) corners.push([x + scale * r * c, y + scale * r * s]);
    }
    if (part.between) {
      const depth = ([a, b]) => (flat(a)[2] + flat(b)[2]) / 2;
      near = Math.max(...part.between.map(depth));
    }
    return { corners: hull(corners), near, halo: part.halo };
  });
  pieces.sort((a, b) => a.near - b.near || Number(b.halo) - Number(a.halo));
  context.lineJoin = 'round';
  context.fillStyle = inks.body;
  context.strokeStyle = inks.paper;
  context.lineWidth = 3.6;
  for (const { corners, halo } of pieces) {
    context.beginPath();
    for (const [x, y] of corners) context.lineTo(x, y);
    context.closePath();
    if (halo) context.stroke();
    context.fill();
  }
}

/** Lines on the ground half a body's length apart, and which way the net is. */
function ground(context, flat, middle, net, inks) {
  const reach = 1.5;
  const line = 0.5;
  // The lines lie on the ground, the body moves over them.
  const [ox, oy] = [0, 1].map((k) => Math.round(middle[k] / line) * line);
  context.strokeStyle = inks.quiet;
  context.globalAlpha = 0.45;
  context.lineWidth = 1;
  context.beginPath();
  for (let k = -reach; k <= reach + 0.01; k += line) {
    for (const [a, b] of [[[k, -reach], [k, reach]], [[-reach, k], [reach, k]]]) {
      context.moveTo(...flat([ox + a[0], oy + a[1], 0]).slice(0, 2));
      context.lineTo(...flat([ox + b[0], oy + b[1], 0]).slice(0, 2));
    }
  }
  context.stroke();
  context.globalAlpha = 1;
  const foot = flat([middle[0], middle[1] + net - 0.16, 0]);
  const head = flat([middle[0], middle[1] + net, 0]);
  const [dx, dy] = [head[0] - foot[0], head[1] - foot[1]];
  const long = Math.hypot(dx, dy);
  if (long < 6) return;
  const [ux, uy] = [dx / long, dy / long];
  context.fillStyle = inks.quiet;
  context.beginPath();
  context.moveTo(head[0], head[1]);
  context.lineTo(head[0] - 8 * ux - 4 * uy, head[1] - 8 * uy + 4 * ux);
  context.lineTo(head[0] - 8 * ux + 4 * uy, head[1] - 8 * uy - 4 * ux);
  context.fill();
  context.font = '13px sans-serif';
  context.textAlign = ux > 0.5 ? 'right' : ux < -0.5 ? 'left' : 'center';
  context.fillText('net', head[0], head[1] + (Math.abs(ux) > 0.5 ? -8 : uy < 0 ? -6 : 16));
}
