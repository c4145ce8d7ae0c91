// The page's words for what the engine says. One place, so that a thing is called the same everywhere.
import type { EntryKind, Joint, Link, NetStanding, Side, Standing } from "./api";

export const side_words: Record<Side, string> = { top: "component side", bottom: "solder side" };

export const standing_words: Record<Standing, { name: string; meaning: string }> = {
  proposed: { name: "proposed", meaning: "Seen in a photograph. Nothing has been measured yet." },
  proven: { name: "proven", meaning: "A meter reading shows that copper joins these two." },
  refuted: { name: "refuted", meaning: "It looked joined in the photograph; the meter read open." },
  stale: { name: "stale", meaning: "Proven once, but work since then could have broken it." },
};

export const net_standing_words: Record<NetStanding, { name: string; meaning: string }> = {
  proposed: { name: "proposed", meaning: "Rests on the photographs alone." },
  joined: { name: "joined", meaning: "Readings tie these joints together; more may still belong to it." },
  proven: { name: "proven", meaning: "Readings tie every joint of it together, and it is settled that no more belong to it." },
  stale: { name: "stale", meaning: "Proven once; work since then asks for some of it again." },
};

export const entry_words: Record<EntryKind, string> = {
  reading: "Reading",
  finding: "Finding",
  work: "Work",
  note: "Note",
  photograph: "Photograph",
  trial: "Trial",
};

export const finding_kinds = [
  "leaked", "bulged", "corroded", "lifted pad", "lost pad", "broken track", "cracked joint", "burnt", "missing", "bridged",
];
export const work_kinds = ["removed", "cleaned", "resoldered", "fitted", "patched", "staked", "coated"];

export function where_of(joint: Joint): string {
  if (joint.side === "both") return joint.plated ? "both sides, plated through" : "both sides, not plated";
  return side_words[joint.side];
}

export function link_where(link: Link): string {
  return link.side === null ? "cable" : side_words[link.side];
}

export function percent(p: number): string {
  if (p > 0.995 && p < 1) return "over 99 %";
  if (p < 0.005 && p > 0) return "under 1 %";
  return `${Math.round(100 * p)} %`;
}

export function mm(value: number): string {
  return `${value.toFixed(value < 1 ? 2 : 1)} mm`;
}

export function count(n: number, one: string, many: string): string {
  return `${n.toLocaleString("en-GB")} ${n === 1 ? one : many}`;
}

// A number of expected mistakes in words that a person can act on.
export function mistakes(expected: number): string {
  if (expected >= 10) return String(Math.round(expected));
  if (expected >= 0.95) return expected.toFixed(1);
  if (expected >= 0.01) return expected.toFixed(2);
  if (expected <= 0) return "0";
  return `1 in ${Math.round(1 / expected).toLocaleString("en-GB")}`;
}

export function duration(seconds: number): string {
  if (seconds < 90) return `${Math.round(seconds)} s`;
  const minutes = Math.round(seconds / 60);
  return minutes < 120 ? `${minutes} min` : `${Math.floor(minutes / 60)} h ${minutes % 60} min`;
}

export function moment(time: string): string {
  const date = new Date(time);
  if (Number.isNaN(date.getTime())) return time;
  return date.toLocaleString("en-GB", { day: "numeric", month: "short", year: "numeric", hour: "2-digit", minute: "2-digit" });
}

// "unit 0417"; a unit without a serial number is called "unit 1" already.
export function unit_words(unit: string): string {
  return unit === "" ? "" : /^unit\b/i.test(unit) ? unit : `unit ${unit}`;
}
