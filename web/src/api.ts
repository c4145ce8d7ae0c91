// What the page asks the server, typed. The shapes are those of /api/openapi.json; tests/openapi.test.mjs holds
// the lists of words below against that document.

export const sides = ["top", "bottom"] as const;
export type Side = (typeof sides)[number];
export const joint_sides = ["top", "bottom", "both"] as const;
export type JointSides = (typeof joint_sides)[number];
export const joint_kinds = ["pad", "via"] as const;
export type JointKind = (typeof joint_kinds)[number];
export const standings = ["proposed", "proven", "refuted", "stale"] as const;
export type Standing = (typeof standings)[number];
export const net_standings = ["proposed", "proven", "joined", "stale"] as const;
export type NetStanding = (typeof net_standings)[number];
export const gestures = ["touch", "sweep"] as const;
export type Gesture = (typeof gestures)[number];
export const entry_kinds = ["reading", "finding", "work", "note", "photograph", "trial"] as const;
export type EntryKind = (typeof entry_kinds)[number];
export const tones = ["lighter", "darker"] as const;
export type Tone = (typeof tones)[number];

export type Pair = readonly [number, number];

export const tiles_of = ["photograph", "rectified"] as const;
export type TilesOf = (typeof tiles_of)[number];

export interface Version {
  name: string;
  version: string;
}
export interface Caution {
  key: string;
  title: string;
  text: string;
}
export interface JobSummary {
  job: string;
  assembly: string;
  unit: string;
  complaint: string;
  condition?: string;
  created: string;
  joints: number;
  readings?: number;
}
export interface Pyramid {
  width: number;
  height: number;
  tile_size: number;
  levels: number;
  px_per_mm?: number;
  origin_mm?: Pair;
}
export interface Photograph {
  photograph: string;
  side: Side;
  width: number;
  height: number;
  file_name?: string;
  aligned: boolean;
  version: string;
}
export interface Board {
  index: number;
  name: string;
  size_mm: Pair;
  outline: Pair[];
  photographs: Photograph[];
}
export interface Job {
  job: string;
  assembly: string;
  unit: string;
  complaint: string;
  condition?: string;
  created: string;
  boards: Board[];
  steps: { aligned: boolean; followed: boolean; readings: number };
  versions: { map: number; alignment: string; proposals: string };
}
export interface Joint {
  name: string;
  board: number;
  kind: JointKind;
  x: number; // centre of the pad's copper
  y: number;
  hole?: Pair;
  side: JointSides;
  plated: boolean;
  shape: string;
  size: Pair;
  rotation?: number;
  drill?: Pair | null;
  part: string | null;
  pin: string;
}
export interface Part {
  name: string;
  board: number;
  value: string;
  kind: string;
  side: Side;
  body: readonly [number, number, number, number];
}
export interface BoardMap {
  joints: Joint[];
  parts: Part[];
}
export interface TiePoint {
  joint: string;
  pixel: Pair;
  used: boolean;
  misfit_mm: number;
  at_mm: Pair;
}
export interface PhotographFit {
  photograph: string;
  board: number;
  side: Side;
  rms_mm?: number | null;
  worst_mm?: number | null;
  limit_mm?: number;
  px_per_mm?: number;
  refined?: boolean;
  joints_sought?: number;
  joints_located?: number;
  located_rms_mm?: number | null;
  located_worst_mm?: number | null;
  out_of_date?: boolean;
  remarks: string[];
  tie_points: TiePoint[];
}
export interface Alignment {
  photographs: PhotographFit[];
  remarks: string[];
}
export interface Link {
  from: string;
  to: string;
  side: Side | null;
  probability: number;
  standing: Standing;
  width_mm?: number;
  hidden?: number;
  path?: Pair[];
  why?: string;
}
export interface ToneState {
  board: number;
  side: Side;
  tone: Tone;
  sure: number;
  settled: boolean;
}
export interface FollowSummary {
  links: number;
  links_likely: number;
  links_sure: number;
  tones: ToneState[];
  remarks: string[];
}
export interface Net {
  name: string;
  standing: NetStanding;
  joints: string[];
}
export interface Question {
  question: string;
  gesture: Gesture;
  hold: string;
  to?: string;
  along?: string[];
  side: Side;
  hold_side: Side;
  why: string;
}
export interface Progress {
  joints: number;
  nets: number;
  gestures: number;
  seconds: number;
  expected_mistakes: number;
  risk: number;
  proposals_confirmed: boolean;
  settled: boolean;
  joints_proven?: number;
  beep_assumed?: boolean;
  unproven?: string[];
}
export interface Contradiction {
  entries: string[];
  why: string;
  settle?: { hold: string; to: string } | null;
}
export interface RingState {
  question: Question | null;
  progress: Progress;
  contradictions: Contradiction[];
  remarks?: string[];
}
export type Said = number | "open" | "beep";
export type RingAnswer =
  | { question: string; ohms: number }
  | { question: string; open: true }
  | { question: string; beep: true }
  | { question: string; answers: Record<string, Said> }
  | { question: string; beeps: string[] }
  | { question: string; skip: string }
  | { undo: true }
  | { stop: true };
export interface RingOptions {
  apart_mm?: number | null;
  copper_below_ohm?: number;
  open_above_ohm?: number;
  beep?: "copper" | "nothing";
  risk?: number;
  contact_miss?: number;
  instrument?: string;
  lead_ohm?: number | null;
  board_state?: string;
}
export interface Entry {
  entry: string;
  kind: EntryKind;
  time: string;
  who?: string;
  device?: string;
  text: string;
  withdrawn: boolean;
  withdrawn_why?: string;
  from?: string;
  to?: string;
  joined?: boolean | null;
}
export interface Journal {
  entries: Entry[];
  undo: string | null;
  redo: string | null;
}
export interface NewEntry {
  kind: Exclude<EntryKind, "reading" | "photograph">;
  text: string;
  what?: string;
  joints?: string[];
  parts?: string[];
  condition?: string;
  minutes?: number;
  recurrences?: number;
}

// A refusal: one clear line from the server.
export class Refusal extends Error {
  readonly status: number;
  constructor(status: number, message: string) {
    super(message);
    this.status = status;
  }
}

async function ask<T>(method: string, path: string, body?: unknown): Promise<T> {
  const init: RequestInit = { method, headers: { Accept: "application/json" } };
  if (body instanceof FormData) {
    init.body = body;
  } else if (body !== undefined) {
    init.body = JSON.stringify(body);
    init.headers = { Accept: "application/json", "Content-Type": "application/json" };
  } else if (method !== "GET") {
    init.body = "";
  }
  let response: Response;
  try {
    response = await fetch(path, init);
  } catch {
    throw new Refusal(0, "The server does not answer. Is `eyelet serve` still running?");
  }
  const text = await response.text();
  let said: unknown = null;
  try {
    said = text === "" ? null : JSON.parse(text);
  } catch {
    said = null;
  }
  if (!response.ok) {
    const detail = (said as { detail?: string } | null)?.detail;
    throw new Refusal(response.status, detail ?? `The server answered ${response.status}.`);
  }
  return said as T;
}

const in_path = encodeURIComponent;
const job_path = (job: string, rest = "") => `/api/jobs/${in_path(job)}${rest}`;

export const api = {
  version: () => ask<Version>("GET", "/api/version"),
  cautions: async () => (await ask<{ cautions: Caution[] }>("GET", "/api/cautions")).cautions,
  jobs: async () => (await ask<{ jobs: JobSummary[] }>("GET", "/api/jobs")).jobs,
  import_survey: (files: { file: File; name: string }[]) => {
    const form = new FormData();
    for (const { file, name } of files) form.append("file", file, name);
    return ask<{ job: string }>("POST", "/api/jobs", form);
  },
  job: (job: string) => ask<Job>("GET", job_path(job)),
  map: (job: string) => ask<BoardMap>("GET", job_path(job, "/map")),
  pyramid: (job: string, photograph: string, of: TilesOf) =>
    ask<Pyramid>("GET", job_path(job, `/photographs/${in_path(photograph)}/${of}/pyramid`)),
  alignment: (job: string) => ask<Alignment>("GET", job_path(job, "/alignment")),
  align: (job: string) => ask<Alignment>("POST", job_path(job, "/alignment")),
  links: async (job: string) => (await ask<{ links: Link[] }>("GET", job_path(job, "/links"))).links,
  follow: (job: string) => ask<FollowSummary>("POST", job_path(job, "/links")),
  tones: (job: string) => ask<FollowSummary>("GET", job_path(job, "/tone")),
  answer_tone: (job: string, board: number, side: Side, copper: Tone) =>
    ask<FollowSummary>("PUT", job_path(job, "/tone"), { board, side, copper }),
  nets: async (job: string, proposed: boolean) =>
    (await ask<{ nets: Net[] }>("GET", job_path(job, proposed ? "/nets?proposed=true" : "/nets"))).nets,
  ring: (job: string) => ask<RingState>("GET", job_path(job, "/ring")),
  answer: (job: string, answer: RingAnswer) => ask<RingState>("POST", job_path(job, "/ring"), answer),
  add_reading: (job: string, from: string, to: string, said: { ohms: number } | { open: true } | { beep: true }) =>
    ask<RingState>("POST", job_path(job, "/ring/readings"), { from, to, ...said }),
  ring_options: (job: string) => ask<RingOptions>("GET", job_path(job, "/ring/options")),
  set_ring_options: (job: string, options: RingOptions) =>
    ask<RingState>("PUT", job_path(job, "/ring/options"), options),
  journal: (job: string) => ask<Journal>("GET", job_path(job, "/journal")),
  add_entry: (job: string, entry: NewEntry) => ask<Entry>("POST", job_path(job, "/journal"), entry),
  withdraw: (job: string, entry: string, why: string) =>
    ask<{ done: string }>("POST", job_path(job, `/journal/${in_path(entry)}/withdraw`), { why }),
  undo: (job: string) => ask<{ done: string }>("POST", job_path(job, "/undo")),
  redo: (job: string) => ask<{ done: string }>("POST", job_path(job, "/redo")),
  report_address: (job: string) => job_path(job, "/report.pdf"),
  netlist_address: (job: string, form: "csv" | "json" | "ipc356") => job_path(job, `/netlist?form=${form}`),
  tile_address: (job: string, photograph: string, of: TilesOf, version: string, level: number, column: number, row: number) =>
    job_path(job, `/photographs/${in_path(photograph)}/${of}/tiles/${level}/${column}_${row}.jpg?v=${in_path(version)}`),
};

export interface ChangeEvent {
  job: string | null; // null: some changes were missed, any job may have changed
}
export interface ProgressEvent {
  job: string;
  task: string;
  share: number | null;
  text: string;
}

// Listens to /api/events until the returned function is called. The browser reconnects by itself.
export function listen(on: { change: (e: ChangeEvent) => void; progress: (e: ProgressEvent) => void }): () => void {
  const source = new EventSource("/api/events");
  source.addEventListener("missed", () => on.change({ job: null }));
  source.addEventListener("change", (e) => on.change(JSON.parse((e as MessageEvent<string>).data) as ChangeEvent));
  source.addEventListener("progress", (e) => on.progress(JSON.parse((e as MessageEvent<string>).data) as ProgressEvent));
  return () => source.close();
}
