// The ring-out: asks for one gesture at a time and takes the answer from the keyboard alone.
import { useEffect, useLayoutEffect, useMemo, useRef, useState } from "preact/hooks";
import {
  api, type Board, type BoardMap, type Contradiction, type Journal, type Question, type RingAnswer, type RingOptions, type RingState, type Said,
  type Side,
} from "../api";
import { key_is_taken } from "../keys";
import { Icon, Key, Refused, Working } from "../parts";
import { count, duration, mistakes, side_words } from "../words";

export interface SweepView {
  answered: ReadonlySet<string>;
  cursor: string | null;
}

interface Props {
  name: string;
  map: BoardMap;
  boards: Board[];
  journal: Journal;
  state: RingState | null;
  on_begin: () => void; // an answer is on its way
  on_state: (state: RingState) => void;
  on_refused: () => void; // it was not taken: look what is asked now
  on_sweep: (sweep: SweepView | null) => void;
  on_look: (joints: string[], side?: Side) => void;
  on_show: (question: Question) => void;
}

// A number as typed on a meter: digits, at most one point. Null while it is none.
export function ohms_of(typed: string): number | null {
  const text = typed.replace(",", ".");
  if (!/^(\d+\.?\d*|\.\d+)$/.test(text)) return null;
  const value = Number(text);
  return Number.isFinite(value) ? value : null;
}

export function RingPanel(props: Props) {
  const { name, state, on_state, on_sweep, on_look, on_show } = props;
  const question = state?.question ?? null;
  const id = question?.question ?? "";
  const [typed, set_typed] = useState("");
  const [cursor, set_cursor] = useState(0);
  const [said, set_said] = useState<ReadonlyMap<string, Said>>(new Map());
  const [reading_at, set_reading_at] = useState(false); // typing the ohms of one joint of a sweep
  const [error, set_error] = useState("");
  const [noted, set_noted] = useState("");
  const [busy, set_busy] = useState(false);
  const lost_keys = useRef(false);
  const last_hold = useRef<{ hold: string; question: string; stays: boolean }>({ hold: "", question: "", stays: false });

  const row = question?.along ?? [];
  // Before the question is seen, so that no key meant for it can be lost to this.
  useLayoutEffect(() => {
    set_typed("");
    set_cursor(0);
    set_said(new Map());
    set_reading_at(false);
  }, [id]);
  useEffect(() => {
    on_sweep(question?.gesture === "sweep" ? { answered: new Set(said.keys()), cursor: row[cursor] ?? null } : null);
  }, [id, said, cursor]);
  useEffect(() => () => on_sweep(null), []);

  if (question && last_hold.current.question !== id) {
    last_hold.current = { hold: question.hold, question: id, stays: last_hold.current.hold === question.hold };
  }

  const send = async (answer: RingAnswer, words: string) => {
    if (busy) return;
    set_error("");
    set_busy(true);
    props.on_begin();
    try {
      on_state(await api.answer(name, answer));
      set_noted(words);
      set_typed("");
    } catch (e) {
      set_error((e as Error).message);
      props.on_refused();
    } finally {
      set_busy(false);
    }
  };
  const answer_touch = (a: { ohms: number } | { open: true } | { beep: true }) => {
    if (!question) return;
    const words = "ohms" in a ? `${a.ohms} Ω` : "open" in a ? "open" : "beep";
    void send({ question: id, ...a }, `Noted: ${question.hold} to ${question.to}, ${words}.`);
  };
  const answer_sweep = (what: ReadonlyMap<string, Said>) => {
    if (!question) return;
    const words = what.size === 0 ? "none answered" : `${[...what.keys()].join(", ")} answered`;
    if ([...what.values()].every((s) => s === "beep")) {
      void send({ question: id, beeps: [...what.keys()] }, `Noted: swept from ${row[0]} to ${row[row.length - 1]}, ${words}.`);
      return;
    }
    const answers: Record<string, Said> = {};
    for (const joint of row) answers[joint] = what.get(joint) ?? "open";
    void send({ question: id, answers }, `Noted: swept from ${row[0]} to ${row[row.length - 1]}, ${words}.`);
  };
  const skip = () => question && void send({ question: id, skip: "cannot reach" }, "Skipped. It will not be asked again unless it matters.");
  const undo = () => void send({ undo: true }, "The last gesture was taken back.");
  const toggle = (i: number) => {
    const joint = row[i];
    if (joint === undefined) return;
    set_cursor(i);
    set_said((now) => {
      const next = new Map(now);
      if (!next.delete(joint)) next.set(joint, "beep");
      return next;
    });
  };
  const enter_number = () => {
    if (lost_keys.current) {
      lost_keys.current = false;
      set_typed("");
      set_error("Some keys came before the question was there. Type the reading again.");
      return;
    }
    const value = ohms_of(typed);
    if (value === null) {
      set_error(typed === "" ? "Type the ohms first, or press O where the meter shows open." : `“${typed}” is no number of ohms. Like 0.2 would be right.`);
      return;
    }
    if (question?.gesture === "sweep") {
      const joint = row[cursor];
      if (joint !== undefined) set_said((now) => new Map(now).set(joint, value));
      set_typed("");
      set_reading_at(false);
      set_error("");
    } else answer_touch({ ohms: value });
  };

  // One place for all keys. Returns whether the key was used.
  const key = (k: string): boolean => {
    const lower = k.toLowerCase();
    if (lower === "u") return undo(), true;
    if (!question) return false;
    if (busy) {
      if (/^[\d.,]$/.test(k)) lost_keys.current = true;
      return /^[\d.,obsanrhmw ]$/.test(lower) || k === "Enter";
    }
    if (lower === "s") return skip(), true;
    if (lower === "h") return on_look([question.hold]), true;
    if (lower === "m") return on_look(question.to === undefined ? row : [question.to], question.side), true;
    if (lower === "w") return on_show(question), true;
    const typing = question.gesture === "touch" || reading_at;
    if (typing) {
      if (/^[\d.,]$/.test(k)) return set_typed((t) => (t + k).slice(0, 12)), set_error(""), true;
      if (k === "Backspace") return set_typed((t) => t.slice(0, -1)), true;
      if (k === "Enter") return enter_number(), true;
    }
    if (question.gesture === "touch") {
      if (lower === "o") return answer_touch({ open: true }), true;
      if (lower === "b") return answer_touch({ beep: true }), true;
      return false;
    }
    if (reading_at) {
      if (k === "Escape") return set_reading_at(false), set_typed(""), true;
      return false;
    }
    if (/^\d$/.test(k)) return toggle(k === "0" ? 9 : Number(k) - 1), true;
    if (k === "ArrowRight" || k === "ArrowDown") return set_cursor((c) => Math.min(c + 1, row.length - 1)), true;
    if (k === "ArrowLeft" || k === "ArrowUp") return set_cursor((c) => Math.max(c - 1, 0)), true;
    if (k === " ") return toggle(cursor), true;
    if (lower === "a") return set_said(new Map(row.map((j) => [j, "beep"]))), true;
    if (lower === "n") return set_said(new Map()), true;
    if (lower === "r") return set_typed(""), set_reading_at(true), true;
    if (lower === "o") return answer_sweep(new Map()), true;
    if (k === "Enter") return answer_sweep(said), true;
    return false;
  };
  const keys = useRef(key);
  keys.current = key;
  useEffect(() => {
    const pressed = (e: KeyboardEvent) => {
      const target = e.target as HTMLElement | null;
      if (key_is_taken(e)) return;
      if (target?.closest(".stage-host") && e.key.startsWith("Arrow")) return;
      if (keys.current(e.key)) e.preventDefault();
    };
    window.addEventListener("keydown", pressed);
    return () => window.removeEventListener("keydown", pressed);
  }, []);

  if (!state) return <Working text="Working out the first question" share={null} />;
  const sentence = question ? spoken(question, last_hold.current.stays) : "";
  return (
    <>
      <div class="unseen" aria-live="assertive" aria-atomic="true">
        {noted} {sentence} {question?.why}
      </div>
      {question ? (
        <section class="ask" aria-label="The next gesture" data-question={id} data-gesture={question.gesture}>
          <p class="ask-where">
            {question.gesture === "touch" ? "Touch" : "Sweep"} · {side_words[question.side]}
            <Boards {...props} question={question} />
          </p>
          <Sentence question={question} stays={last_hold.current.stays} />
          <p class="why">{question.why}</p>
          {question.gesture === "sweep" && (
            <ol class="row-keys" aria-label="Joints of the row: those that answered are marked">
              {row.map((joint, i) => {
                const answer = said.get(joint);
                return (
                  <li key={joint}>
                    <button class={`${answer !== undefined ? "answered" : ""}${i === cursor ? " cursor" : ""}`} aria-pressed={answer !== undefined} onClick={() => toggle(i)}>
                      <span class="n">{i + 1}</span>
                      <span class="name">{joint}</span>
                      <span class="said">{answer === undefined ? "silent" : answer === "beep" ? "beep" : answer === "open" ? "open" : `${answer} Ω`}</span>
                    </button>
                  </li>
                );
              })}
            </ol>
          )}
          {(question.gesture === "touch" || reading_at) && (
            <p class="meter">
              {reading_at && <span class="meter-of">{row[cursor]}</span>}
              <input
                class="meter-value" inputMode="decimal" placeholder="0.00" value={typed} autocomplete="off" aria-label="Ohms that the meter shows" data-ring-keys
                onInput={(e) => set_typed(e.currentTarget.value.replace(/[^\d.,]/g, "").slice(0, 12))}
                onKeyDown={(e) => {
                  // Digits go into the field; every other key means what it means outside it.
                  if (e.ctrlKey || e.metaKey || e.altKey || /^[\d.,]$/.test(e.key) || ["Backspace", "Delete", "Tab", "ArrowLeft", "ArrowRight", "Home", "End"].includes(e.key)) return;
                  if (keys.current(e.key)) e.preventDefault();
                }}
              />
              <span class="meter-unit">Ω</span>
            </p>
          )}
          {question.gesture === "touch" ? (
            <div class="answers">
              <button class="strong" onClick={enter_number} disabled={busy}>
                <Key>Enter</Key> Ohms as typed
              </button>
              <button onClick={() => answer_touch({ open: true })} disabled={busy}>
                <Key>O</Key> Open
              </button>
              <button onClick={() => answer_touch({ beep: true })} disabled={busy}>
                <Key>B</Key> Beep
              </button>
              <button onClick={skip} disabled={busy}>
                <Key>S</Key> Cannot reach
              </button>
            </div>
          ) : (
            <div class="answers">
              <button class="strong" onClick={() => (reading_at ? enter_number() : answer_sweep(said))} disabled={busy}>
                <Key>Enter</Key> {reading_at ? "Keep this reading" : said.size === 0 ? "None answered" : `${said.size} answered, the rest open`}
              </button>
              <button onClick={() => set_reading_at(true)} disabled={busy}>
                <Key>R</Key> Its ohms
              </button>
              <button onClick={() => set_said(new Map(row.map((j) => [j, "beep"])))} disabled={busy}>
                <Key>A</Key> All
              </button>
              <button onClick={skip} disabled={busy}>
                <Key>S</Key> Cannot reach
              </button>
            </div>
          )}
          <p class="keys">
            {question.gesture === "touch" ? (
              <>Type the ohms that the meter shows, leads taken off, then <Key>Enter</Key>.</>
            ) : (
              <>
                <Key>1</Key>…<Key>9</Key> or <Key>←</Key> <Key>→</Key> and <Key>space</Key> mark the joints that answered, <Key>O</Key> says none did.
              </>
            )}{" "}
            <Key>U</Key> undo, <Key>H</Key> <Key>M</Key> look at a probe, <Key>W</Key> at both, <Key>F</Key> turn over.
          </p>
        </section>
      ) : (
        <section class="ask done" aria-label="Done" data-done="true">
          <h2>{state.progress.settled ? "The map is proven" : "Nothing is left to ask"}</h2>
          <p>
            {count(state.progress.joints, "joint", "joints")} in {count(state.progress.nets, "net", "nets")}, by{" "}
            {count(state.progress.gestures, "gesture", "gestures")}.{" "}
            {(state.progress.unproven?.length ?? 0) > 0
              ? "What could not be proven is listed below."
              : "Every joint is tied to its net, or shown to stand alone, to the stated risk."}
          </p>
        </section>
      )}
      <Refused text={error} />
      <div class="row after">
        <button onClick={undo} disabled={busy || state.progress.gestures === 0}>
          <Icon name="undo" />
          Undo <Key>U</Key>
        </button>
        <p class="noted">{noted}</p>
      </div>
      <Milestones state={state} name={name} />
      {state.contradictions.map((c) => (
        <Contradicting key={c.entries.join(" ")} c={c} {...props} />
      ))}
      {(state.progress.unproven?.length ?? 0) > 0 && (
        <details class="fold">
          <summary>{count(state.progress.unproven!.length, "thing is", "things are")} not proven</summary>
          <ul>
            {state.progress.unproven!.slice(0, 200).map((u) => (
              <li key={u}>{u}</li>
            ))}
          </ul>
        </details>
      )}
      <Volunteer {...props} />
      <Options {...props} />
      <button
        class="quiet"
        onClick={() => {
          void send({ stop: true }, "Stopped. Everything is kept; the question stands when you come back.");
        }}
      >
        Stop for now
      </button>
    </>
  );
}

function spoken(q: Question, stays: boolean): string {
  const hold = stays ? `Keep the held probe on ${q.hold}.` : `Hold one probe on ${q.hold}.`;
  if (q.gesture === "touch") return `${hold} Touch ${q.to} with the other, on the ${side_words[q.side]}.`;
  const row = q.along ?? [];
  return `${hold} Draw the other along the row from ${row[0]} to ${row[row.length - 1]}, ${count(row.length, "joint", "joints")}, on the ${side_words[q.side]}.`;
}

function Sentence({ question, stays }: { question: Question; stays: boolean }) {
  const row = question.along ?? [];
  return (
    <h2 class="ask-sentence">
      {stays ? "Keep " : "Hold "}
      <span class="probe hold">
        <b>H</b>
        {question.hold}
      </span>
      {question.gesture === "touch" ? (
        <>
          {" and touch "}
          <span class="probe move">
            <b>M</b>
            {question.to}
          </span>
        </>
      ) : (
        <>
          {" and draw the needle from "}
          <span class="probe move">
            <b>M</b>
            {row[0]}
          </span>
          {" along the row to "}
          <span class="probe move">{row[row.length - 1]}</span>
        </>
      )}
    </h2>
  );
}

// Where the two probes lie on different boards of one assembly, that is said.
function Boards({ map, boards, question }: Props & { question: Question }) {
  if (boards.length < 2) return null;
  const of = (name: string | undefined) => boards[map.joints.find((j) => j.name === name)?.board ?? -1]?.name;
  const hold = of(question.hold);
  const move = of(question.to ?? question.along?.[0]);
  return <> · {hold === move ? `${hold} board` : `H on ${hold}, M on ${move}`}</>;
}

function Milestones({ state, name }: { state: RingState; name: string }) {
  const p = state.progress;
  // How far the doubt has come down since this job was first looked at here, on a scale of its logarithm.
  const start = useMemo(() => {
    const kept = `eyelet.doubt.${name}`;
    let most = p.expected_mistakes;
    try {
      most = Math.max(most, Number(sessionStorage.getItem(kept) ?? "0") || 0);
      sessionStorage.setItem(kept, String(most));
    } catch {
      // Storage may be forbidden; the bar then starts anew.
    }
    return most;
  }, [name, p.expected_mistakes]);
  const span = Math.log(Math.max(start, p.risk * 1.01) / p.risk);
  const left = Math.log(Math.max(p.expected_mistakes, p.risk) / p.risk);
  const share = p.settled ? 1 : Math.max(0, Math.min(0.99, 1 - left / span));
  return (
    <section class="milestones" aria-label="How far it is">
      <div class="doubt">
        <div class="doubt-figure">
          <strong>{mistakes(p.expected_mistakes)}</strong>
          <span>
            {p.expected_mistakes >= 0.01 ? "joins that the map would still lack if you stopped now" : "chance that the map still lacks a join"}
          </span>
        </div>
        <div class="doubt-bar" role="img" aria-label={`Doubt taken away: ${Math.round(100 * share)} per cent of the way to the stated risk of ${p.risk}`}>
          <span style={{ width: `${100 * share}%` }} />
        </div>
      </div>
      <ol>
        <li class={p.proposals_confirmed ? "reached" : ""}>
          <span>
            Every proposal confirmed<small>{p.proposals_confirmed ? "each was measured" : "some still rest on the photograph"}</small>
          </span>
        </li>
        <li class={p.settled ? "reached" : ""}>
          <span>
            Proven to the stated risk<small>{p.risk >= 0.01 ? `${mistakes(p.risk)} joins still missing` : `${mistakes(p.risk)} that a join is missing`}</small>
          </span>
        </li>
      </ol>
      <dl class="counts">
        <div>
          <dt>joints</dt>
          <dd>{p.joints}</dd>
        </div>
        <div>
          <dt>nets</dt>
          <dd>{p.nets}</dd>
        </div>
        <div>
          <dt>gestures</dt>
          <dd>{p.gestures}</dd>
        </div>
        <div>
          <dt title="By the cost model: seconds for placing each probe and for each joint swept">hand time</dt>
          <dd>{duration(p.seconds)}</dd>
        </div>
      </dl>
    </section>
  );
}

function Contradicting({ c, name, journal, on_look }: { c: Contradiction } & Props) {
  const [error, set_error] = useState("");
  return (
    <section class="contradiction" role="alert">
      <h3>These readings cannot all be true</h3>
      <p>{c.why}</p>
      <ul>
        {c.entries.map((entry) => {
          const e = journal.entries.find((x) => x.entry === entry);
          return (
            <li key={entry}>
              <span class="mono">{entry}</span> {e?.text}{" "}
              <button class="inline" onClick={() => api.withdraw(name, entry, "contradicts other readings").catch((x: Error) => set_error(x.message))}>
                withdraw
              </button>
            </li>
          );
        })}
      </ul>
      {c.settle && (
        <p>
          One touch would settle it: {c.settle.hold} to {c.settle.to}.{" "}
          <button class="inline" onClick={() => on_look([c.settle!.hold, c.settle!.to ?? c.settle!.hold])}>
            show
          </button>
        </p>
      )}
      <Refused text={error} />
    </section>
  );
}

function Volunteer({ name, map, on_state }: Props) {
  const [from, set_from] = useState("");
  const [to, set_to] = useState("");
  const [value, set_value] = useState("");
  const [error, set_error] = useState("");
  const give = async () => {
    set_error("");
    const word = value.trim().toLowerCase();
    const ohms = ohms_of(word);
    const said = word === "open" || word === "o" ? { open: true as const } : word === "beep" || word === "b" ? { beep: true as const } : ohms === null ? null : { ohms };
    if (said === null) return set_error("Type ohms, such as 0.2, or open, or beep.");
    try {
      on_state(await api.add_reading(name, from.trim(), to.trim(), said));
      set_from("");
      set_to("");
      set_value("");
    } catch (e) {
      set_error((e as Error).message);
    }
  };
  return (
    <details class="fold">
      <summary>A reading that was not asked for</summary>
      <form
        onSubmit={(e) => {
          e.preventDefault();
          void give();
        }}
      >
        <div class="row even">
          <label>
            Held probe on
            <input list="joint-names" value={from} required spellcheck={false} onInput={(e) => set_from(e.currentTarget.value)} />
          </label>
          <label>
            Other probe on
            <input list="joint-names" value={to} required spellcheck={false} onInput={(e) => set_to(e.currentTarget.value)} />
          </label>
          <label>
            The meter says
            <input value={value} required placeholder="0.2, open or beep" onInput={(e) => set_value(e.currentTarget.value)} />
          </label>
        </div>
        <datalist id="joint-names">
          {map.joints.filter((j) => j.kind === "pad").slice(0, 2000).map((j) => (
            <option key={j.name} value={j.name} />
          ))}
        </datalist>
        <Refused text={error} />
        <button type="submit">Note this reading</button>
      </form>
    </details>
  );
}

function Options({ name, on_state }: Props) {
  const [options, set_options] = useState<RingOptions | null>(null);
  const [error, set_error] = useState("");
  const [kept, set_kept] = useState(false);
  const fields: { key: keyof RingOptions; label: string; hint: string; number: boolean }[] = [
    { key: "copper_below_ohm", label: "Copper up to, Ω", hint: "A reading at or below this is copper.", number: true },
    { key: "open_above_ohm", label: "Open from, Ω", hint: "Between the two a reading proves nothing.", number: true },
    { key: "lead_ohm", label: "Leads taken off, Ω", hint: "Written beside each reading.", number: true },
    { key: "risk", label: "Stop at, joins still missing", hint: "Expected number in the whole map.", number: true },
    { key: "apart_mm", label: "Prove apart nets nearer than, mm", hint: "Empty: only where it is in doubt.", number: true },
    { key: "instrument", label: "Meter", hint: "Written beside each reading.", number: false },
    { key: "board_state", label: "State of the board", hint: "Such as: out of its case, capacitors discharged.", number: false },
  ];
  const keep = async (form: HTMLFormElement) => {
    set_error("");
    set_kept(false);
    const changed: Record<string, number | string | null> = {};
    for (const f of fields) {
      const text = ((new FormData(form).get(f.key) as string | null) ?? "").trim();
      if (!f.number) changed[f.key] = text;
      else if (text === "") changed[f.key] = null;
      else if (Number.isFinite(Number(text.replace(",", ".")))) changed[f.key] = Number(text.replace(",", "."));
      else return set_error(`“${text}” is no number. ${f.label}: a number like 0.5 would be right.`);
    }
    for (const f of ["copper_below_ohm", "open_above_ohm", "risk"]) if (changed[f] === null) delete changed[f];
    try {
      on_state(await api.set_ring_options(name, changed as RingOptions));
      set_kept(true);
    } catch (e) {
      set_error((e as Error).message);
    }
  };
  return (
    <details
      class="fold"
      onToggle={(e) => {
        if (e.currentTarget.open && options === null) api.ring_options(name).then(set_options, (x: Error) => set_error(x.message));
      }}
    >
      <summary>Meter and limits</summary>
      {options && (
        <form
          onSubmit={(e) => {
            e.preventDefault();
            void keep(e.currentTarget);
          }}
        >
          {fields.map((f) => (
            <label key={f.key}>
              {f.label}
              <input name={f.key} inputMode={f.number ? "decimal" : "text"} defaultValue={String(options[f.key] ?? "")} />
              <small>{f.hint}</small>
            </label>
          ))}
          <button type="submit">Use these</button>
          {kept && <span role="status"> In use.</span>}
        </form>
      )}
      <Refused text={error} />
    </details>
  );
}
