// What is drawn over the photographs of one board, put together once whenever the map, the links or the nets
// change, so that drawing a frame only strokes ready paths. Millimetres in the board's frame.
import type { Board, BoardMap, Joint, JointSides, Link, Net, NetStanding, Pair, Side, Standing } from "../api";

export interface PlacedJoint {
  joint: Joint;
  radius: number; // mm: half the pad's smaller dimension
  net: number; // place in Scene.nets, or -1
}

export interface LinkGroup {
  standing: Standing;
  side: Side | null;
  strength: number; // 0 to 1, the links' probability rounded, for how strongly a proposal is drawn
  path: Path2D;
  crosses: Pair[]; // where a refuted link is crossed out
}

export interface JointGroup {
  standing: NetStanding;
  sides: JointSides;
  rings: Path2D;
  fills: Path2D;
  centres: { x: number; y: number; r: number }[];
}

export interface Scene {
  board: number;
  outline: Path2D;
  size: Pair; // of the board, mm
  joints: PlacedJoint[];
  by_name: Map<string, PlacedJoint>;
  vias: Path2D;
  links: Link[];
  link_groups: LinkGroup[];
  joint_groups: JointGroup[];
  nets: Net[];
}

function pad_path(path: Path2D, joint: Joint, grow: number): void {
  const half_w = (joint.size[0] / 2) * grow;
  const half_h = (joint.size[1] / 2) * grow;
  const turn = (-(joint.rotation ?? 0) * Math.PI) / 180; // y points down, so counter-clockwise is negative
  const cos = Math.cos(turn);
  const sin = Math.sin(turn);
  const corner = (x: number, y: number): [number, number] => [joint.x + x * cos - y * sin, joint.y + x * sin + y * cos];
  if (joint.shape === "circle" || Math.abs(half_w - half_h) < 1e-6 && joint.shape === "oval") {
    path.moveTo(joint.x + half_w, joint.y);
    path.arc(joint.x, joint.y, half_w, 0, 2 * Math.PI);
    return;
  }
  if (joint.shape === "oval") {
    const long = half_w >= half_h;
    const r = Math.min(half_w, half_h);
    const reach = Math.max(half_w, half_h) - r;
    const along = turn + (long ? 0 : Math.PI / 2);
    const dx = Math.cos(along) * reach;
    const dy = Math.sin(along) * reach;
    path.moveTo(joint.x + dx + Math.sin(along) * r, joint.y + dy - Math.cos(along) * r);
    path.arc(joint.x + dx, joint.y + dy, r, along - Math.PI / 2, along + Math.PI / 2);
    path.arc(joint.x - dx, joint.y - dy, r, along + Math.PI / 2, along + 1.5 * Math.PI);
    path.closePath();
    return;
  }
  path.moveTo(...corner(-half_w, -half_h));
  path.lineTo(...corner(half_w, -half_h));
  path.lineTo(...corner(half_w, half_h));
  path.lineTo(...corner(-half_w, half_h));
  path.closePath();
}

// The polyline of a link: as followed, or straight where it was not seen.
export function link_points(link: Link, by_name: Map<string, PlacedJoint>): Pair[] {
  if (link.path && link.path.length >= 2) return link.path;
  const from = by_name.get(link.from)?.joint;
  const to = by_name.get(link.to)?.joint;
  return from && to ? [[from.x, from.y], [to.x, to.y]] : [];
}

export function trace(path: Path2D, points: readonly Pair[]): void {
  points.forEach(([x, y], i) => (i === 0 ? path.moveTo(x, y) : path.lineTo(x, y)));
}

export function middle_of(points: readonly Pair[]): Pair | null {
  let total = 0;
  for (let i = 1; i < points.length; i++) total += span(points[i - 1]!, points[i]!);
  let left = total / 2;
  for (let i = 1; i < points.length; i++) {
    const a = points[i - 1]!;
    const b = points[i]!;
    const d = span(a, b);
    if (d >= left && d > 0) return [a[0] + ((b[0] - a[0]) * left) / d, a[1] + ((b[1] - a[1]) * left) / d];
    left -= d;
  }
  return points[0] ?? null;
}

const span = (a: Pair, b: Pair) => Math.hypot(a[0] - b[0], a[1] - b[1]);

// A weak guess is not drawn on the whole board, whatever the readings made of it: its path is a guess too, and hundreds
// of them would hide the board. `least` is the probability from which proposals and what was refuted are drawn.
export const weak = 0.3;

export function make_scene(of: Board, map: BoardMap, links: Link[], nets: Net[], least: number, refuted: boolean): Scene {
  const board = of.index;
  const outline = new Path2D();
  trace(outline, of.outline);
  outline.closePath();
  const net_of = new Map<string, number>();
  nets.forEach((net, i) => net.joints.forEach((name) => net_of.set(name, i)));

  const joints: PlacedJoint[] = [];
  const by_name = new Map<string, PlacedJoint>();
  const vias = new Path2D();
  const joint_groups = new Map<string, JointGroup>();
  for (const joint of map.joints) {
    if (joint.board !== board) continue;
    const placed = { joint, radius: Math.min(joint.size[0], joint.size[1]) / 2, net: net_of.get(joint.name) ?? -1 };
    by_name.set(joint.name, placed);
    if (joint.kind === "via") {
      vias.moveTo(joint.x + placed.radius * 0.8, joint.y);
      vias.arc(joint.x, joint.y, placed.radius * 0.8, 0, 2 * Math.PI);
      continue;
    }
    joints.push(placed);
    const standing = placed.net < 0 ? "proposed" : nets[placed.net]!.standing;
    const key = `${standing} ${joint.side}`;
    let group = joint_groups.get(key);
    if (!group) {
      group = { standing, sides: joint.side, rings: new Path2D(), fills: new Path2D(), centres: [] };
      joint_groups.set(key, group);
    }
    pad_path(group.rings, joint, 1);
    group.centres.push({ x: joint.x, y: joint.y, r: placed.radius });
    if (standing === "proven") {
      group.fills.moveTo(joint.x + placed.radius * 0.55, joint.y);
      group.fills.arc(joint.x, joint.y, placed.radius * 0.55, 0, 2 * Math.PI);
    } else if (standing === "joined") {
      group.fills.moveTo(joint.x, joint.y - placed.radius * 0.6);
      group.fills.arc(joint.x, joint.y, placed.radius * 0.6, -Math.PI / 2, Math.PI / 2);
      group.fills.closePath();
    }
  }

  const link_groups = new Map<string, LinkGroup>();
  const here: Link[] = [];
  for (const link of links) {
    const from = by_name.get(link.from);
    const to = by_name.get(link.to);
    if (!from || !to) continue;
    here.push(link);
    if (link.standing === "proposed" && link.probability < least) continue;
    if (link.standing === "refuted" && (!refuted || link.probability < least)) continue;
    if (link.standing !== "refuted" && link.probability < weak) continue;
    const strength = link.standing === "proposed" ? Math.max(1, Math.ceil(link.probability * 4)) / 4 : 1;
    const key = `${link.standing} ${link.side} ${strength}`;
    let group = link_groups.get(key);
    if (!group) {
      group = { standing: link.standing, side: link.side, strength, path: new Path2D(), crosses: [] };
      link_groups.set(key, group);
    }
    const points = link_points(link, by_name);
    trace(group.path, points);
    if (link.standing === "refuted") {
      const middle = middle_of(points);
      if (middle) group.crosses.push(middle);
    }
  }
  const order: Standing[] = ["proposed", "refuted", "stale", "proven"];
  return {
    board, outline, size: of.size_mm, joints, by_name, vias, links: here, nets,
    link_groups: [...link_groups.values()].sort(
      (a, b) => order.indexOf(a.standing) - order.indexOf(b.standing) || a.strength - b.strength,
    ),
    joint_groups: [...joint_groups.values()],
  };
}
