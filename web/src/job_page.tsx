// One job: the board on the left, and beside it the panel of the step that is being worked on.
import { useCallback, useEffect, useMemo, useRef, useState } from "preact/hooks";
import {
  api, listen, type Alignment, type BoardMap, type FollowSummary, type Job, type Journal, type Link, type Net, type Pair,
  type Question, type RingState, type Side,
} from "./api";
import { go } from "./app";
import { AlignPanel } from "./panels/align_panel";
import { BoardPanel } from "./panels/board_panel";
import { JournalPanel } from "./panels/journal_panel";
import { PapersPanel } from "./panels/papers_panel";
import { RingPanel, type SweepView } from "./panels/ring_panel";
import { key_is_taken } from "./keys";
import { Icon, Refused, Working } from "./parts";
import type { Lit, Marks, Misfit, Probes } from "./stage/draw";
import { make_scene, weak } from "./stage/scene";
import { Stage } from "./stage/stage";
import { mm, side_words, unit_words } from "./words";

export const panels = ["board", "align", "ring", "journal", "papers"] as const;
export type PanelName = (typeof panels)[number];

const panel_words: Record<PanelName, string> = {
  board: "Board", align: "Photographs", ring: "Ring out", journal: "Journal", papers: "Papers",
};

export interface JobData {
  job: Job;
  map: BoardMap;
  links: Link[];
  nets: Net[]; // as the readings leave them
  proposed: Net[]; // as the photographs alone make likeliest
  journal: Journal;
  alignment: Alignment;
  tones: FollowSummary;
}

// What did not change since `last` is not asked for again.
async function load_job(name: string, last: JobData | null): Promise<JobData> {
  const job = await api.job(name);
  const nothing: FollowSummary = { links: 0, links_likely: 0, links_sure: 0, tones: [], remarks: [] };
  const same_map = last !== null && last.job.versions.map === job.versions.map;
  const same_fit = same_map && last.job.versions.alignment === job.versions.alignment;
  const same_proposals = same_map && last.job.versions.proposals === job.versions.proposals;
  const [map, links, nets, proposed, journal, alignment, tones] = await Promise.all([
    same_map ? last.map : api.map(name),
    api.links(name),
    api.nets(name, false),
    same_proposals ? last.proposed : job.steps.followed ? api.nets(name, true) : [],
    api.journal(name),
    same_fit ? last.alignment : api.alignment(name),
    same_proposals ? last.tones : job.steps.followed ? api.tones(name) : nothing,
  ]);
  return { job, map, links, nets, proposed, journal, alignment, tones };
}

function net_with(nets: Net[], joint: string): Net | null {
  return nets.find((net) => net.joints.includes(joint)) ?? null;
}

// What lights up with a joint: its net, what the photographs would add, the links inside, the readings that tie it.
export function lit_with(data: JobData, joint: string): Lit {
  // A net that rests on photographs alone ties nothing: all but the chosen joint are guesses.
  const net = net_with(data.nets, joint);
  const joints = new Set(net === null || net.standing === "proposed" ? [joint] : net.joints);
  const maybe = new Set(
    [...joints, ...(net?.joints ?? [])]
      .flatMap((name) => [name, ...(net_with(data.proposed, name)?.joints ?? [])])
      .filter((name) => !joints.has(name)),
  );
  const refuted = new Set(data.links.filter((l) => l.standing === "refuted").map((l) => `${l.from}\n${l.to}`));
  const all = new Set([...joints, ...maybe]);
  // Vias carry copper on: a link through one belongs to the picture as soon as it touches a lit joint's net.
  const vias = new Set(data.map.joints.filter((j) => j.kind === "via").map((j) => j.name));
  const likely = data.links.filter(
    (l) => l.standing !== "refuted" && l.probability >= (l.standing === "proposed" ? 0.5 : weak) && !refuted.has(`${l.from}\n${l.to}`),
  );
  for (let grown = true; grown; ) {
    grown = false;
    for (const l of likely) {
      for (const [a, b] of [[l.from, l.to], [l.to, l.from]] as const) {
        if (all.has(a) && vias.has(b) && !all.has(b)) {
          all.add(b);
          grown = true;
        }
      }
    }
  }
  return {
    joints, maybe,
    links: likely.filter((l) => all.has(l.from) && all.has(l.to)),
    proofs: data.journal.entries
      .filter((e) => e.kind === "reading" && !e.withdrawn && e.joined === true && e.from && e.to && joints.has(e.from) && joints.has(e.to))
      .map((e) => [e.from!, e.to!]),
  };
}

const idle = { text: "", share: null as number | null, busy: false };

export function JobPage({ name, panel, on_title }: { name: string; panel: PanelName; on_title: (t: string) => void }) {
  const [data, set_data] = useState<JobData | null>(null);
  const [ring, set_ring] = useState<RingState | null>(null);
  const [error, set_error] = useState("");
  const [working, set_working] = useState(idle);
  const [board, set_board] = useState(0);
  const [blend, set_blend] = useState(0);
  const [flipped, set_flipped] = useState(false);
  const [least, set_least] = useState(0.5);
  const [show_links, set_show_links] = useState(true);
  const [show_refuted, set_show_refuted] = useState(true);
  const [chosen, set_chosen] = useState<string | null>(null);
  const [hover, set_hover] = useState<string | null>(null);
  const [sweep, set_sweep] = useState<SweepView | null>(null);
  const host = useRef<HTMLDivElement>(null);
  const stage = useRef<Stage | null>(null);

  // One look at the server at a time, and one more after it where something changed meanwhile: two at once could come
  // back in the wrong order.
  const latest = useRef<JobData | null>(null);
  const looks = useRef<{ wanted: number; now: Promise<void> | null }>({ wanted: 0, now: null });
  const reload = useCallback((): Promise<void> => {
    const state = looks.current;
    state.wanted++;
    state.now ??= (async () => {
      try {
        for (let seen = 0; seen !== state.wanted; ) {
          seen = state.wanted;
          const loaded = await load_job(name, latest.current);
          latest.current = loaded;
          set_data(loaded);
          on_title(`${loaded.job.assembly}${loaded.job.unit === "" ? "" : ` · ${unit_words(loaded.job.unit)}`}`);
        }
      } catch (e) {
        set_error((e as Error).message);
      } finally {
        state.now = null;
      }
    })();
    return state.now;
  }, [name]);

  // Another device, another process or this page changed the job: look again, but not more often than needed.
  useEffect(() => {
    void reload();
    let soon: ReturnType<typeof setTimeout> | null = null;
    const stop = listen({
      change: (e) => {
        if ((e.job !== name && e.job !== null) || soon !== null) return;
        soon = setTimeout(() => {
          soon = null;
          void reload();
          set_ring_age((age) => age + 1);
        }, 200);
      },
      progress: (p) => {
        if (p.job === name) set_working((w) => (w.busy ? { busy: true, text: p.text, share: p.share } : w));
      },
    });
    return () => {
      stop();
      if (soon !== null) clearTimeout(soon);
    };
  }, [name]);

  // The ring-out is looked at only where its panel is open: choosing the first question costs a moment.
  const [ring_age, set_ring_age] = useState(0);
  // Counts answers sent and come back: what was asked for before or during one of them is old news when it arrives.
  const ring_epoch = useRef({ count: 0, on_its_way: false });
  const answered = () => {
    ring_epoch.current.count++;
    ring_epoch.current.on_its_way = false;
  };
  useEffect(() => {
    if (panel !== "ring") return;
    let gone = false;
    const epoch = ring_epoch.current.count;
    api.ring(name).then(
      (state) => !gone && epoch === ring_epoch.current.count && !ring_epoch.current.on_its_way && set_ring(state),
      (e: Error) => !gone && set_error(e.message),
    );
    return () => {
      gone = true;
    };
  }, [name, panel, ring_age]);

  useEffect(() => {
    stage.current = new Stage(host.current!, {
      choose: (joint) => set_chosen(joint),
      hover: (joint) => set_hover(joint),
      failed: (message) => set_error(message),
    });
    return () => stage.current?.close();
  }, []);

  const shown_board = data?.job.boards[board] ?? null;
  useEffect(() => {
    if (!data || !shown_board) return;
    const waiting = shown_board.photographs.some((p) => p.aligned);
    if (waiting) set_working({ busy: true, text: "Straightening the photographs", share: null });
    stage.current?.open(name, shown_board).then(
      () => set_working((w) => (w.text === "Straightening the photographs" || waiting ? idle : w)),
      (e: Error) => {
        set_working(idle);
        set_error(e.message);
      },
    );
  }, [data?.job, board]);

  const scene = useMemo(
    () => (data && shown_board ? make_scene(shown_board, data.map, data.links, data.nets, least, show_refuted) : null),
    [data, board, least, show_refuted],
  );
  useEffect(() => stage.current?.set_scene(scene), [scene]);
  useEffect(() => stage.current?.set_blend(blend), [blend]);

  const lit = useMemo(() => (data && chosen !== null && panel !== "align" ? lit_with(data, chosen) : null), [data, chosen, panel]);

  const question = panel === "ring" ? (ring?.question ?? null) : null;
  const probes: Probes | null = useMemo(() => {
    if (!question) return null;
    return {
      hold: question.hold,
      ...(question.to === undefined ? {} : { to: question.to }),
      ...(question.along === undefined ? {} : { along: question.along }),
      ...(sweep === null ? {} : { answered: sweep.answered, cursor: sweep.cursor }),
    };
  }, [question, sweep]);

  const misfits: Misfit[] | null = useMemo(() => {
    if (panel !== "align" || !data || data.alignment.photographs.length === 0) return null;
    const side: Side = blend > 0.5 ? "bottom" : "top";
    const fit = data.alignment.photographs.find((f) => f.board === board && f.side === side);
    if (!fit) return [];
    const at = new Map(data.map.joints.map((j) => [j.name, j]));
    return fit.tie_points.flatMap((t) => {
      const joint = at.get(t.joint);
      return joint
        ? [{ name: t.joint, at: [joint.hole?.[0] ?? joint.x, joint.hole?.[1] ?? joint.y] as Pair, seen: t.at_mm, used: t.used, text: t.used ? mm(t.misfit_mm) : `left out, ${mm(t.misfit_mm)} off` }]
        : [];
    });
  }, [panel, data, board, blend]);

  useEffect(() => {
    const marks: Marks = { lit, joint: chosen, hover, probes, misfits, links: show_links };
    stage.current?.set_marks(marks);
  }, [lit, chosen, hover, probes, misfits, show_links, scene]);

  const turn_to = useCallback((side: Side) => {
    stage.current?.set_flipped(side === "bottom");
    set_flipped(side === "bottom");
    // A blend in between stays: the person is looking through the board.
    set_blend((b) => (b > 0.02 && b < 0.98 ? b : side === "bottom" ? 1 : 0));
  }, []);

  const look_at = useCallback(
    (names: string[], side?: Side) => {
      if (!data) return;
      const joints = names.map((n) => data.map.joints.find((j) => j.name === n)).filter((j) => j !== undefined);
      const last = joints[joints.length - 1];
      if (!last) return;
      set_board(last.board);
      if (side) turn_to(side);
      const points = joints.filter((j) => j.board === last.board).map((j) => [j.x, j.y] as Pair);
      // The board and its side change first.
      setTimeout(() => stage.current?.look_at(points), 0);
    },
    [data, turn_to],
  );

  // A new question: show where the probes go.
  const show_question = useCallback(
    (q: Question) => look_at([q.hold, ...(q.along ?? []), ...(q.to === undefined ? [] : [q.to])], q.side),
    [look_at],
  );
  const asked = question?.question ?? "";
  useEffect(() => {
    if (question && data) show_question(question);
  }, [asked, data === null]);

  const work = async <T,>(text: string, step: () => Promise<T>): Promise<T | null> => {
    set_error("");
    set_working({ busy: true, text, share: null });
    try {
      const said = await step();
      await reload();
      return said;
    } catch (e) {
      set_error((e as Error).message);
      return null;
    } finally {
      set_working(idle);
    }
  };

  useEffect(() => {
    const key = (e: KeyboardEvent) => {
      if (key_is_taken(e)) return;
      if (e.key === "f" || e.key === "F") turn_to(flipped ? "top" : "bottom");
      else if (e.key === "/") {
        e.preventDefault();
        document.getElementById("find-joint")?.focus();
      } else if (e.key === "Escape") set_chosen(null);
    };
    window.addEventListener("keydown", key);
    return () => window.removeEventListener("keydown", key);
  }, [flipped, turn_to]);

  const progress_of: Record<PanelName, "none" | "part" | "all"> = {
    board: data ? "all" : "none",
    align: !data?.job.steps.aligned ? "none" : data.job.steps.followed ? "all" : "part",
    ring: ring?.progress.settled ? "all" : (data?.job.steps.readings ?? 0) > 0 ? "part" : "none",
    journal: (data?.journal.entries.length ?? 0) > 0 ? "all" : "none",
    papers: ring?.progress.settled ? "all" : "none",
  };

  return (
    <main class="job">
      <section class="stage" aria-label="The board">
        <div
          class="stage-host"
          ref={host}
          role="application"
          aria-roledescription="photograph of the board"
          aria-label={`The board seen from the ${side_words[flipped ? "bottom" : "top"]}. Arrow keys move, plus and minus zoom. Joints can be chosen by name in the search box.`}
        />
        {data && (
          <Finder
            data={data}
            on_found={(joint) => {
              set_chosen(joint);
              look_at([joint]);
            }}
          />
        )}
        {data && !shown_board?.photographs.some((p) => p.aligned) && (
          <p class="stage-note">
            The photographs do not lie on the board yet, so only the joints are drawn.
            {panel !== "align" && <a href={`#/job/${encodeURIComponent(name)}/align`}> Lay them on it</a>}
          </p>
        )}
        <div class="zoom" role="group" aria-label="Zoom">
          <button onClick={() => stage.current?.zoom_by(1.6)} aria-label="Nearer" title="Nearer (+)"><Icon name="plus" /></button>
          <button onClick={() => stage.current?.zoom_by(1 / 1.6)} aria-label="Farther" title="Farther (−)"><Icon name="minus" /></button>
          <button onClick={() => stage.current?.show_all()} aria-label="Whole board" title="Whole board"><Icon name="fit" /></button>
        </div>
        <div class="dock">
          {data && data.job.boards.length > 1 && (
            <div class="segments" role="radiogroup" aria-label="Board">
              {data.job.boards.map((b, i) => (
                <button key={b.name} role="radio" aria-checked={i === board} onClick={() => set_board(i)}>
                  {b.name}
                </button>
              ))}
            </div>
          )}
          <button class="flip" onClick={() => turn_to(flipped ? "top" : "bottom")} aria-pressed={flipped} title="Turn the board over (F)">
            <Icon name="flip" />
            <span>
              {flipped ? "From behind" : "From the front"}
              <small>{flipped ? "solder side towards you" : "component side towards you"}</small>
            </span>
          </button>
          <label class="blend">
            <span>component side</span>
            <input
              type="range" min="0" max="100" value={Math.round(100 * blend)}
              aria-label="Blend of component side and solder side"
              aria-valuetext={`${Math.round(100 * (1 - blend))} % component side, ${Math.round(100 * blend)} % solder side`}
              onInput={(e) => set_blend(Number(e.currentTarget.value) / 100)}
            />
            <span>solder side</span>
          </label>
        </div>
      </section>
      <aside class="panel">
        <nav class="thread" aria-label="Steps of the job">
          {panels.map((p) => (
            <a key={p} href={`#/job/${encodeURIComponent(name)}/${p}`} aria-current={p === panel ? "page" : undefined} class={progress_of[p]}>
              <svg viewBox="0 0 16 16" width="14" height="14" aria-hidden="true">
                <circle cx="8" cy="8" r="5" fill="none" stroke="currentColor" stroke-width="2.4" />
                {progress_of[p] === "part" && <path d="M8 5a3 3 0 0 1 0 6z" fill="currentColor" />}
                {progress_of[p] === "all" && <circle cx="8" cy="8" r="2.6" fill="currentColor" />}
              </svg>
              {panel_words[p]}
            </a>
          ))}
        </nav>
        <div class="panel-body">
          <Refused text={error} />
          {data === null && error === "" && <Working text="Opening the job" share={null} />}
          {working.busy && <Working text={working.text} share={working.share} />}
          {data && panel === "board" && (
            <BoardPanel
              data={data} chosen={chosen} lit={lit} least={least} show_links={show_links} show_refuted={show_refuted} on_refuted={set_show_refuted}
              on_least={set_least} on_links={set_show_links}
              on_choose={(joint, look) => {
                set_chosen(joint);
                if (joint !== null && look) look_at([joint]);
              }}
              on_look={look_at}
            />
          )}
          {data && panel === "align" && (
            <AlignPanel
              data={data} busy={working.busy}
              on_align={() => work("Aligning the photographs", () => api.align(name))}
              on_follow={() => work("Following the copper", () => api.follow(name))}
              on_tone={(b, side, tone) => work("Following the copper again", () => api.answer_tone(name, b, side, tone))}
              on_show={(b, side) => {
                set_board(b);
                turn_to(side);
                set_blend(side === "bottom" ? 1 : 0);
              }}
              on_ring={() => go({ job: name, panel: "ring" })}
            />
          )}
          {data && panel === "ring" && (
            <RingPanel
              name={name} map={data.map} boards={data.job.boards} journal={data.journal} state={ring}
              on_begin={() => {
                ring_epoch.current.count++;
                ring_epoch.current.on_its_way = true;
              }}
              on_state={(state) => {
                answered();
                set_ring(state);
              }}
              on_refused={() => {
                answered();
                set_ring_age((age) => age + 1);
              }}
              on_sweep={set_sweep}
              on_look={look_at} on_show={show_question}
            />
          )}
          {data && panel === "journal" && <JournalPanel name={name} data={data} on_choose={(j) => { set_chosen(j); look_at([j]); }} />}
          {data && panel === "papers" && <PapersPanel name={name} data={data} />}
        </div>
      </aside>
    </main>
  );
}

function Finder({ data, on_found }: { data: JobData; on_found: (joint: string) => void }) {
  const [text, set_text] = useState("");
  const [at, set_at] = useState(0);
  const found = useMemo(() => {
    const wanted = text.trim().toLowerCase();
    if (wanted === "") return [];
    const starts: string[] = [];
    const holds: string[] = [];
    for (const j of data.map.joints) {
      if (j.kind === "via") continue;
      const n = j.name.toLowerCase();
      if (n === wanted) starts.unshift(j.name);
      else if (n.startsWith(wanted) || n.includes(`/${wanted}`)) starts.push(j.name);
      else if (n.includes(wanted)) holds.push(j.name);
    }
    return [...starts, ...holds].slice(0, 8);
  }, [text, data.map]);
  const take = (name: string | undefined) => {
    if (name === undefined) return;
    set_text("");
    on_found(name);
    (document.activeElement as HTMLElement | null)?.blur();
  };
  return (
    <div class="finder">
      <Icon name="find" />
      <input
        id="find-joint" type="search" placeholder="Find a joint" autocomplete="off" spellcheck={false}
        aria-label="Find a joint by its name, such as U1.3" aria-autocomplete="list" aria-controls="found-joints"
        aria-activedescendant={found.length > 0 ? `found-${at}` : undefined}
        value={text}
        onInput={(e) => {
          set_text(e.currentTarget.value);
          set_at(0);
        }}
        onKeyDown={(e) => {
          if (e.key === "Enter") take(found[at]);
          else if (e.key === "ArrowDown") set_at(Math.min(at + 1, found.length - 1));
          else if (e.key === "ArrowUp") set_at(Math.max(at - 1, 0));
          else if (e.key === "Escape") {
            set_text("");
            e.currentTarget.blur();
          } else return;
          e.preventDefault();
        }}
      />
      {text.trim() !== "" && (
        <ul id="found-joints" role="listbox" aria-label="Joints found">
          {found.map((n, i) => (
            <li key={n} id={`found-${i}`} role="option" aria-selected={i === at} onPointerDown={(e) => { e.preventDefault(); take(n); }}>
              {n}
            </li>
          ))}
          {found.length === 0 && <li class="none">No joint is called that.</li>}
        </ul>
      )}
    </div>
  );
}
