// Draws one frame over the photographs. Standing is told three ways: by line (thin dashes, solid, dots, a cross),
// by the mark in the joint (hollow, half, full) and by colour. Every line has a dark casing, so that it
// stands out on mask of any colour.
import type { Link, Pair, Side } from "../api";
import { link_points, trace, type PlacedJoint, type Scene } from "./scene";

export interface View {
  scale: number; // pixels of the page per mm
  origin: Pair; // where the board's origin lies before mirroring, px
  width: number;
  height: number;
  flipped: boolean;
  blend: number; // 0 component side alone, 1 solder side alone
  ratio: number; // device pixels per px
}

export interface Probes {
  hold: string;
  to?: string;
  along?: string[];
  answered?: ReadonlySet<string>;
  cursor?: string | null;
}

export interface Misfit {
  name: string;
  at: Pair; // where the fit expects the joint, mm
  seen: Pair; // where the person clicked, mm
  used: boolean;
  text: string;
}

// A net lit up: what readings tie together, and what the photographs would add to it.
export interface Lit {
  joints: ReadonlySet<string>;
  maybe: ReadonlySet<string>;
  links: Link[];
  proofs: [string, string][]; // pairs that were read as joined
}

export interface Marks {
  lit: Lit | null;
  joint: string | null; // chosen
  hover: string | null;
  probes: Probes | null;
  misfits: Misfit[] | null; // drawn instead of the nets while the alignment is looked at
  links: boolean;
}

export const ink = {
  casing: "rgba(9, 13, 14, 0.62)",
  proposed: "#ffd27a",
  joined: "#a5ecd4",
  proven: "#5ff0bf",
  refuted: "#ff8d9b",
  stale: "#cdbbff",
  lit: "#fff6d8",
  hold: "#ff9d57",
  move: "#66d3ff",
  via: "rgba(235, 240, 235, 0.55)",
};

export function to_screen(view: View, x: number, y: number): Pair {
  const sx = view.origin[0] + x * view.scale;
  return [view.flipped ? view.width - sx : sx, view.origin[1] + y * view.scale];
}

export function to_board(view: View, px: number, py: number): Pair {
  const sx = view.flipped ? view.width - px : px;
  return [(sx - view.origin[0]) / view.scale, (py - view.origin[1]) / view.scale];
}

// How strongly something on one side shows at this blend: never quite gone, since both sides are one net.
function presence(side: Side | null, blend: number): number {
  if (side === null) return 1;
  return 0.3 + 0.7 * (side === "top" ? 1 - blend : blend);
}

export function draw(ctx: CanvasRenderingContext2D, view: View, scene: Scene | null, marks: Marks): void {
  const { ratio, scale } = view;
  ctx.setTransform(ratio, 0, 0, ratio, 0, 0);
  ctx.clearRect(0, 0, view.width, view.height);
  if (!scene || scale <= 0) return;
  ctx.lineJoin = "round";

  const on_board = () => {
    const turn = view.flipped ? -1 : 1;
    const shift = view.flipped ? view.width - view.origin[0] : view.origin[0];
    ctx.setTransform(ratio * scale * turn, 0, 0, ratio * scale, ratio * shift, ratio * view.origin[1]);
  };
  const on_screen = () => ctx.setTransform(ratio, 0, 0, ratio, 0, 0);
  const px = (n: number) => n / scale;

  const stroke = (path: Path2D, colour: string, width: number, dash: number[], cap: CanvasLineCap = "butt") => {
    ctx.lineCap = cap;
    ctx.setLineDash([]);
    ctx.strokeStyle = ink.casing;
    if (dash.length === 0) {
      ctx.lineWidth = px(width + 2.4);
      ctx.stroke(path);
    } else {
      ctx.setLineDash(dash.map(px));
      ctx.lineWidth = px(width + 2);
      ctx.stroke(path);
    }
    ctx.strokeStyle = colour;
    ctx.lineWidth = px(width);
    ctx.stroke(path);
    ctx.setLineDash([]);
  };

  const lit = marks.lit !== null || marks.misfits !== null;
  if (lit) {
    on_screen();
    ctx.fillStyle = "rgba(10, 15, 16, 0.5)";
    ctx.fillRect(0, 0, view.width, view.height);
  }
  const quiet = lit ? 0.32 : marks.probes ? 0.7 : 1;

  on_board();
  ctx.globalAlpha = quiet;
  ctx.strokeStyle = "rgba(235, 240, 235, 0.5)";
  ctx.lineWidth = px(1.2);
  ctx.stroke(scene.outline);
  if (marks.links && !marks.misfits) {
    for (const group of scene.link_groups) {
      ctx.globalAlpha = quiet * presence(group.side, view.blend) * (group.standing === "proposed" ? 0.35 + 0.65 * group.strength : 1);
      if (group.standing === "proposed") stroke(group.path, ink.proposed, 1.6, [6, 5]);
      else if (group.standing === "proven") stroke(group.path, ink.proven, 2.6, []);
      else if (group.standing === "stale") stroke(group.path, ink.stale, 3, [0.01, 6], "round");
      else stroke(group.path, ink.refuted, 1, [2, 4]);
    }
    on_screen();
    for (const group of scene.link_groups) {
      if (group.crosses.length === 0) continue;
      ctx.globalAlpha = quiet * presence(group.side, view.blend);
      const crosses = new Path2D();
      for (const [x, y] of group.crosses) {
        const [cx, cy] = to_screen(view, x, y);
        crosses.moveTo(cx - 4.5, cy - 4.5);
        crosses.lineTo(cx + 4.5, cy + 4.5);
        crosses.moveTo(cx - 4.5, cy + 4.5);
        crosses.lineTo(cx + 4.5, cy - 4.5);
      }
      ctx.lineCap = "round";
      ctx.strokeStyle = ink.casing;
      ctx.lineWidth = 5;
      ctx.stroke(crosses);
      ctx.strokeStyle = ink.refuted;
      ctx.lineWidth = 2.2;
      ctx.stroke(crosses);
    }
    on_board();
  }

  // Vias, then joints.
  ctx.globalAlpha = quiet;
  ctx.strokeStyle = ink.via;
  ctx.lineWidth = px(1);
  if (scale > 4) ctx.stroke(scene.vias);
  for (const group of scene.joint_groups) {
    const side = group.sides === "both" ? null : group.sides;
    ctx.globalAlpha = (lit ? 0.45 : 1) * presence(side, view.blend);
    const colour = ink[group.standing];
    ctx.setLineDash([]);
    ctx.strokeStyle = ink.casing;
    ctx.lineWidth = px(3.4);
    ctx.stroke(group.rings);
    ctx.strokeStyle = colour;
    ctx.lineWidth = px(1.5);
    if (group.standing === "stale") ctx.setLineDash([px(3), px(3)]);
    ctx.stroke(group.rings);
    ctx.setLineDash([]);
    if (group.standing === "proven" || group.standing === "joined") {
      ctx.fillStyle = ink.casing;
      ctx.strokeStyle = ink.casing;
      ctx.lineWidth = px(1.6);
      ctx.stroke(group.fills);
      ctx.fillStyle = colour;
      ctx.fill(group.fills);
    }
  }

  if (marks.misfits) draw_misfits(ctx, view, marks.misfits);
  else {
    if (marks.lit) draw_net(ctx, view, scene, marks.lit, marks.joint, on_board, on_screen);
    draw_names(ctx, view, scene, marks);
  }
  if (marks.probes) draw_probes(ctx, view, scene, marks.probes);
  draw_overview(ctx, view, scene, marks);
  ctx.globalAlpha = 1;
}

// Zoomed in, a small map in the corner tells which part of the board is seen, and where the probes are.
function draw_overview(ctx: CanvasRenderingContext2D, view: View, scene: Scene, marks: Marks): void {
  const [board_w, board_h] = scene.size;
  const seen_w = view.width / view.scale;
  const seen_h = view.height / view.scale;
  if (view.width < 560 || view.height < 330 || (seen_w > 0.9 * board_w && seen_h > 0.9 * board_h)) return;
  const room = Math.min(120, 0.26 * view.height);
  const k = room / Math.max(board_w, board_h);
  const w = board_w * k;
  const h = board_h * k;
  const left = 12;
  const top = view.height - h - 82;
  const at = (x: number, y: number): Pair => [left + (view.flipped ? board_w - x : x) * k, top + y * k];
  ctx.setTransform(view.ratio, 0, 0, view.ratio, 0, 0);
  ctx.globalAlpha = 1;
  ctx.setLineDash([]);
  ctx.fillStyle = "rgba(22, 28, 29, 0.86)";
  ctx.beginPath();
  ctx.roundRect(left - 6, top - 6, w + 12, h + 12, 8);
  ctx.fill();
  ctx.save();
  ctx.beginPath();
  ctx.rect(left, top, w, h);
  ctx.clip();
  ctx.fillStyle = "#24423a";
  ctx.fillRect(left, top, w, h);
  ctx.fillStyle = "rgba(235, 240, 235, 0.55)";
  for (const { joint } of scene.joints) {
    const [x, y] = at(joint.x, joint.y);
    ctx.fillRect(x - 0.75, y - 0.75, 1.5, 1.5);
  }
  ctx.fillStyle = ink.lit;
  for (const name of marks.lit?.joints ?? []) {
    const joint = scene.by_name.get(name)?.joint;
    if (!joint) continue;
    const [x, y] = at(joint.x, joint.y);
    ctx.fillRect(x - 1.5, y - 1.5, 3, 3);
  }
  const corner = to_board(view, 0, 0);
  const [x0, y0] = at(...corner);
  ctx.strokeStyle = "#ffffff";
  ctx.lineWidth = 1.5;
  ctx.strokeRect(x0, y0, seen_w * k, seen_h * k);
  if (marks.probes) {
    const dot = (name: string | undefined, colour: string) => {
      const joint = name === undefined ? undefined : scene.by_name.get(name)?.joint;
      if (!joint) return;
      ctx.fillStyle = colour;
      ctx.beginPath();
      ctx.arc(...at(joint.x, joint.y), 3.5, 0, 2 * Math.PI);
      ctx.fill();
    };
    dot(marks.probes.to ?? marks.probes.along?.[0], ink.move);
    dot(marks.probes.hold, ink.hold);
  }
  ctx.restore();
}

function draw_net(
  ctx: CanvasRenderingContext2D, view: View, scene: Scene, lit: Lit, chosen: string | null,
  on_board: () => void, on_screen: () => void,
): void {
  const px = (n: number) => n / view.scale;
  on_board();
  ctx.globalAlpha = 1;
  ctx.lineCap = "round";
  // A reading may tie two joints between which no copper was followed: a fine straight line.
  const proofs = new Path2D();
  for (const [from, to] of lit.proofs) {
    const a = scene.by_name.get(from)?.joint;
    const b = scene.by_name.get(to)?.joint;
    if (a && b) trace(proofs, [[a.x, a.y], [b.x, b.y]]);
  }
  ctx.setLineDash([]);
  ctx.strokeStyle = "rgba(255, 246, 216, 0.6)";
  ctx.lineWidth = px(1);
  ctx.stroke(proofs);
  for (const link of lit.links) {
    const path = new Path2D();
    trace(path, link_points(link, scene.by_name));
    ctx.globalAlpha = 0.35 + 0.65 * presence(link.side, view.blend);
    ctx.setLineDash([]);
    if (link.standing === "proposed") ctx.setLineDash([px(8), px(6)]);
    else if (link.standing === "stale") ctx.setLineDash([px(0.01), px(8)]);
    ctx.lineCap = link.standing === "stale" ? "round" : "butt";
    ctx.strokeStyle = ink.casing;
    ctx.lineWidth = px(7);
    ctx.stroke(path);
    ctx.strokeStyle = link.standing === "proven" ? ink.proven : link.standing === "stale" ? ink.stale : ink.proposed;
    ctx.lineWidth = px(link.standing === "proven" ? 4 : 3);
    ctx.stroke(path);
  }
  ctx.setLineDash([]);
  on_screen();
  ctx.globalAlpha = 1;
  const ring = (name: string, sure: boolean) => {
    const placed = scene.by_name.get(name);
    if (!placed) return;
    const [x, y] = to_screen(view, placed.joint.x, placed.joint.y);
    const r = Math.max(5, placed.radius * view.scale) + 3;
    ctx.beginPath();
    ctx.arc(x, y, r, 0, 2 * Math.PI);
    ctx.setLineDash(sure ? [] : [4, 4]);
    ctx.strokeStyle = ink.casing;
    ctx.lineWidth = 5;
    ctx.stroke();
    ctx.strokeStyle = sure ? ink.lit : ink.proposed;
    ctx.lineWidth = name === chosen ? 3.5 : 2;
    ctx.stroke();
    ctx.setLineDash([]);
    if (name !== chosen) return;
    ctx.beginPath();
    ctx.arc(x, y, r + 6, 0, 2 * Math.PI);
    ctx.lineWidth = 1.5;
    ctx.stroke();
  };
  lit.maybe.forEach((name) => ring(name, false));
  lit.joints.forEach((name) => ring(name, true));
}

function text_box(
  ctx: CanvasRenderingContext2D, text: string, x: number, y: number, fill: string, colour: string, bold = false,
): void {
  ctx.font = `${bold ? 650 : 500} 12px ui-monospace, "Cascadia Mono", Menlo, "DejaVu Sans Mono", monospace`;
  const width = ctx.measureText(text).width + 10;
  ctx.fillStyle = fill;
  ctx.beginPath();
  ctx.roundRect(x - width / 2, y - 9, width, 18, 4);
  ctx.fill();
  ctx.fillStyle = colour;
  ctx.textAlign = "center";
  ctx.textBaseline = "middle";
  ctx.fillText(text, x, y + 0.5);
}

function draw_names(ctx: CanvasRenderingContext2D, view: View, scene: Scene, marks: Marks): void {
  ctx.setTransform(view.ratio, 0, 0, view.ratio, 0, 0);
  ctx.globalAlpha = 1;
  const in_view = (p: PlacedJoint): Pair | null => {
    const at = to_screen(view, p.joint.x, p.joint.y);
    return at[0] > -20 && at[0] < view.width + 20 && at[1] > -20 && at[1] < view.height + 20 ? at : null;
  };
  const taken: { x: number; y: number; w: number }[] = [];
  const label = (placed: PlacedJoint, strong: boolean) => {
    const at = in_view(placed);
    if (!at) return;
    const y = at[1] + Math.max(6, placed.radius * view.scale) + 14;
    const w = placed.joint.name.length * 7.4 + 12;
    if (taken.some((t) => Math.abs(t.x - at[0]) < (t.w + w) / 2 && Math.abs(t.y - y) < 19)) return;
    taken.push({ x: at[0], y, w });
    text_box(ctx, placed.joint.name, at[0], y, strong ? "rgba(255, 246, 216, 0.94)" : "rgba(10, 15, 16, 0.72)", strong ? "#1a1710" : "#f1efe6", strong);
  };
  if (marks.joint) {
    const chosen = scene.by_name.get(marks.joint);
    if (chosen) label(chosen, true);
  }
  if (marks.hover && marks.hover !== marks.joint) {
    const hovered = scene.by_name.get(marks.hover);
    if (hovered) label(hovered, true);
  }
  if (marks.lit && !marks.probes) {
    for (const name of [...marks.lit.joints, ...marks.lit.maybe]) {
      const placed = scene.by_name.get(name);
      if (placed && name !== marks.joint) label(placed, true);
      if (taken.length > 60) break;
    }
  } else if (view.scale > 16 && !marks.probes) {
    for (const placed of scene.joints) {
      label(placed, false);
      if (taken.length > 120) break;
    }
  }
}

function badge(ctx: CanvasRenderingContext2D, text: string, x: number, y: number, fill: string): void {
  ctx.font = `700 13px ui-monospace, "Cascadia Mono", Menlo, "DejaVu Sans Mono", monospace`;
  const width = Math.max(22, ctx.measureText(text).width + 14);
  ctx.fillStyle = "rgba(9, 13, 14, 0.85)";
  ctx.beginPath();
  ctx.roundRect(x - width / 2 - 2, y - 13, width + 4, 26, 7);
  ctx.fill();
  ctx.fillStyle = fill;
  ctx.beginPath();
  ctx.roundRect(x - width / 2, y - 11, width, 22, 5);
  ctx.fill();
  ctx.fillStyle = "#14110c";
  ctx.textAlign = "center";
  ctx.textBaseline = "middle";
  ctx.fillText(text, x, y + 0.5);
}

// The held probe is a diamond with a flag H, the moving one a ring with four ticks and a flag M.
function draw_probes(ctx: CanvasRenderingContext2D, view: View, scene: Scene, probes: Probes): void {
  ctx.setTransform(view.ratio, 0, 0, view.ratio, 0, 0);
  ctx.globalAlpha = 1;
  ctx.setLineDash([]);
  const place = (name: string): { at: Pair; r: number } | null => {
    const placed = scene.by_name.get(name);
    return placed
      ? { at: to_screen(view, placed.joint.x, placed.joint.y), r: Math.max(9, placed.radius * view.scale * 1.25) }
      : null;
  };
  const cased = (colour: string, width: number) => {
    ctx.strokeStyle = ink.casing;
    ctx.lineWidth = width + 3;
    ctx.stroke();
    ctx.strokeStyle = colour;
    ctx.lineWidth = width;
    ctx.stroke();
  };
  const hold = place(probes.hold);
  const row = (probes.along ?? []).map(place);
  const first = row.find((p) => p !== null) ?? null;
  const to = probes.to === undefined ? null : place(probes.to);

  if (hold && (to ?? first)) {
    const target = (to ?? first)!;
    ctx.beginPath();
    ctx.moveTo(...hold.at);
    ctx.lineTo(...target.at);
    ctx.setLineDash([1, 7]);
    ctx.lineCap = "round";
    ctx.strokeStyle = "rgba(255, 255, 255, 0.55)";
    ctx.lineWidth = 2;
    ctx.stroke();
    ctx.setLineDash([]);
  }

  if (row.length > 0) {
    const seen = row.filter((p): p is { at: Pair; r: number } => p !== null);
    ctx.beginPath();
    seen.forEach((p, i) => (i === 0 ? ctx.moveTo(...p.at) : ctx.lineTo(...p.at)));
    ctx.lineCap = "round";
    ctx.lineJoin = "round";
    ctx.strokeStyle = "rgba(102, 211, 255, 0.22)";
    ctx.lineWidth = 2.6 * Math.max(...seen.map((p) => p.r), 9);
    ctx.stroke();
    ctx.beginPath();
    seen.forEach((p, i) => (i === 0 ? ctx.moveTo(...p.at) : ctx.lineTo(...p.at)));
    cased(ink.move, 1.6);
    // An arrow at the far end tells which way the needle is drawn.
    const a = seen[seen.length - 2];
    const b = seen[seen.length - 1];
    if (a && b) {
      const turn = Math.atan2(b.at[1] - a.at[1], b.at[0] - a.at[0]);
      const tip: Pair = [b.at[0] + Math.cos(turn) * (b.r + 12), b.at[1] + Math.sin(turn) * (b.r + 12)];
      ctx.beginPath();
      ctx.moveTo(tip[0] - Math.cos(turn - 0.6) * 11, tip[1] - Math.sin(turn - 0.6) * 11);
      ctx.lineTo(...tip);
      ctx.lineTo(tip[0] - Math.cos(turn + 0.6) * 11, tip[1] - Math.sin(turn + 0.6) * 11);
      cased(ink.move, 2.4);
    }
    // Numbers stand beside the row, on the side away from the held probe.
    const across = a && b ? Math.atan2(b.at[1] - a.at[1], b.at[0] - a.at[0]) + Math.PI / 2 : -Math.PI / 2;
    let aside: Pair = [Math.cos(across), Math.sin(across)];
    if (hold && first && (hold.at[0] - first.at[0]) * aside[0] + (hold.at[1] - first.at[1]) * aside[1] > 0) aside = [-aside[0], -aside[1]];
    const crowded = seen.length > 1 && Math.hypot(seen[1]!.at[0] - seen[0]!.at[0], seen[1]!.at[1] - seen[0]!.at[1]) < 19;
    row.forEach((p, i) => {
      if (!p) return;
      const name = probes.along![i]!;
      const answered = probes.answered?.has(name) ?? false;
      ctx.beginPath();
      ctx.arc(p.at[0], p.at[1], p.r, 0, 2 * Math.PI);
      if (answered) {
        ctx.fillStyle = "rgba(102, 211, 255, 0.55)";
        ctx.fill();
      }
      cased(ink.move, name === probes.cursor ? 4 : 2);
      if (!crowded || i === 0 || i === row.length - 1 || name === probes.cursor || answered) {
        const reach = p.r + 13;
        text_box(ctx, String(i + 1), p.at[0] + aside[0] * reach, p.at[1] + aside[1] * reach, answered ? ink.move : "rgba(10, 15, 16, 0.82)", answered ? "#0c1417" : "#eef6fa", true);
      }
    });
    if (first && a && b) {
      const back = Math.atan2(first.at[1] - seen[1]!.at[1], first.at[0] - seen[1]!.at[0]);
      badge(ctx, "M", first.at[0] + Math.cos(back) * (first.r + 24), first.at[1] + Math.sin(back) * (first.r + 22), ink.move);
    } else if (first) badge(ctx, "M", first.at[0], first.at[1] + first.r + 22, ink.move);
  }

  // The flags point away from each other, so that neither hides what the other names.
  const moving = to ?? first;
  const hold_below = hold !== null && moving !== null && hold.at[1] >= moving.at[1];
  if (to) {
    const [x, y] = to.at;
    ctx.beginPath();
    ctx.arc(x, y, to.r + 2, 0, 2 * Math.PI);
    for (const [dx, dy] of [[1, 0], [-1, 0], [0, 1], [0, -1]] as const) {
      ctx.moveTo(x + dx * (to.r + 2), y + dy * (to.r + 2));
      ctx.lineTo(x + dx * (to.r + 10), y + dy * (to.r + 10));
    }
    cased(ink.move, 2.6);
    badge(ctx, `M ${probes.to}`, x, hold_below || !hold ? y - to.r - 26 : y + to.r + 26, ink.move);
  }
  if (hold) {
    const [x, y] = hold.at;
    const r = hold.r + 6;
    ctx.beginPath();
    ctx.moveTo(x, y - r);
    ctx.lineTo(x + r, y);
    ctx.lineTo(x, y + r);
    ctx.lineTo(x - r, y);
    ctx.closePath();
    cased(ink.hold, 2.8);
    badge(ctx, `H ${probes.hold}`, x, hold_below ? y + r + 18 : y - r - 18, ink.hold);
  }
}

function draw_misfits(ctx: CanvasRenderingContext2D, view: View, misfits: Misfit[]): void {
  ctx.setTransform(view.ratio, 0, 0, view.ratio, 0, 0);
  ctx.globalAlpha = 1;
  for (const m of misfits) {
    const [x, y] = to_screen(view, ...m.at);
    const [sx, sy] = to_screen(view, ...m.seen);
    const colour = m.used ? ink.proven : ink.refuted;
    ctx.setLineDash([]);
    ctx.beginPath();
    ctx.moveTo(x, y);
    ctx.lineTo(sx, sy);
    ctx.strokeStyle = ink.casing;
    ctx.lineWidth = 5;
    ctx.stroke();
    ctx.strokeStyle = colour;
    ctx.lineWidth = 2.5;
    ctx.stroke();
    ctx.beginPath();
    if (m.used) {
      ctx.arc(x, y, 13, 0, 2 * Math.PI);
      ctx.moveTo(x + 2, y);
      ctx.arc(x, y, 2, 0, 2 * Math.PI);
    } else {
      ctx.moveTo(sx - 8, sy - 8);
      ctx.lineTo(sx + 8, sy + 8);
      ctx.moveTo(sx - 8, sy + 8);
      ctx.lineTo(sx + 8, sy - 8);
    }
    ctx.strokeStyle = ink.casing;
    ctx.lineWidth = 5;
    ctx.stroke();
    ctx.strokeStyle = colour;
    ctx.lineWidth = 2.5;
    ctx.stroke();
    const at: Pair = m.used ? [x, y] : [sx, sy];
    text_box(ctx, `${m.name}  ${m.text}`, at[0], at[1] + 26, "rgba(10, 15, 16, 0.82)", m.used ? "#e9fff6" : "#ffe1e5", !m.used);
  }
}
