// What happened on this job, by whom and when. Nothing is ever deleted: an entry is withdrawn, and stays to be read.
import { useEffect, useState } from "preact/hooks";
import { api, entry_kinds, type Entry, type EntryKind, type NewEntry } from "../api";
import type { JobData } from "../job_page";
import { Icon, Refused } from "../parts";
import { entry_words, finding_kinds, moment, work_kinds } from "../words";

type Writable = NewEntry["kind"];
const writable: Writable[] = ["finding", "work", "note", "trial"];

export function JournalPanel({ name, data, on_choose }: { name: string; data: JobData; on_choose: (joint: string) => void }) {
  const [only, set_only] = useState<EntryKind | "all">("all");
  const [words, set_words] = useState("");
  const [error, set_error] = useState("");
  const [said, set_said] = useState("");
  const [shown, set_shown] = useState(60);
  const { journal } = data;
  const act = async (step: () => Promise<{ done: string }>) => {
    set_error("");
    try {
      set_said((await step()).done);
    } catch (e) {
      set_error((e as Error).message);
    }
  };
  const wanted = words.trim().toLowerCase();
  const entries = journal.entries
    .filter((e) => (only === "all" || e.kind === only) && (wanted === "" || `${e.entry} ${e.text}`.toLowerCase().includes(wanted)))
    .reverse();
  return (
    <>
      <h2>Journal</h2>
      <div class="row">
        <button disabled={journal.undo === null} onClick={() => void act(() => api.undo(name))} title={journal.undo ?? "There is nothing to undo"}>
          <Icon name="undo" />
          Undo
        </button>
        <button disabled={journal.redo === null} onClick={() => void act(() => api.redo(name))} title={journal.redo ?? "There is nothing to bring back"}>
          Bring back
        </button>
      </div>
      <p class="hint" aria-live="polite">
        {said !== "" ? said : journal.undo === null ? "Nothing to undo." : `Undo would take back: ${journal.undo}.`}
      </p>
      <Refused text={error} />
      <Write name={name} data={data} />
      <div class="entries-head">
        <h3>Entries</h3>
        <label>
          <span class="unseen">Show</span>
          <select value={only} onChange={(e) => set_only(e.currentTarget.value as EntryKind | "all")}>
            <option value="all">all kinds</option>
            {entry_kinds.map((k) => (
              <option key={k} value={k}>
                {entry_words[k].toLowerCase()}s only
              </option>
            ))}
          </select>
        </label>
      </div>
      <input class="filter" type="search" placeholder="Joint, part or word" aria-label="Show only entries with these words" value={words} onInput={(e) => set_words(e.currentTarget.value)} />
      <ol class="entries">
        {entries.slice(0, shown).map((e) => (
          <Row key={e.entry} e={e} on_choose={on_choose} withdraw={(why) => act(() => api.withdraw(name, e.entry, why))} />
        ))}
      </ol>
      {entries.length > shown && <button onClick={() => set_shown(shown + 200)}>Show more</button>}
      {entries.length === 0 && <p class="empty">Nothing here yet.</p>}
    </>
  );
}

function Row({ e, withdraw, on_choose }: { e: Entry; withdraw: (why: string) => Promise<void>; on_choose: (joint: string) => void }) {
  const [asking, set_asking] = useState(false);
  const [why, set_why] = useState("");
  return (
    <li class={`entry ${e.kind}${e.withdrawn ? " withdrawn" : ""}`}>
      <div class="entry-head">
        <span class="kind">{entry_words[e.kind]}</span>
        <span class="mono">{e.entry}</span>
        <time dateTime={e.time}>{moment(e.time)}</time>
      </div>
      <p class="entry-text">{e.text}</p>
      <p class="entry-foot">
        {[e.who, e.device].filter((t) => t).join(", ")}
        {e.withdrawn && <strong> Withdrawn{e.withdrawn_why ? `: ${e.withdrawn_why}` : ""}.</strong>}
        {e.from && (
          <button class="inline" onClick={() => on_choose(e.from!)}>
            show
          </button>
        )}
        {!e.withdrawn && !asking && (
          <button class="inline" onClick={() => set_asking(true)}>
            withdraw
          </button>
        )}
      </p>
      {asking && (
        <form
          class="withdraw"
          onSubmit={(ev) => {
            ev.preventDefault();
            void withdraw(why.trim()).then(() => set_asking(false));
          }}
        >
          <label>
            Why? Everything that rested on it goes with it.
            <input value={why} required autofocus onInput={(ev) => set_why(ev.currentTarget.value)} />
          </label>
          <div class="row">
            <button type="submit">Withdraw {e.entry}</button>
            <button type="button" onClick={() => set_asking(false)}>
              Keep it
            </button>
          </div>
        </form>
      )}
    </li>
  );
}

function Write({ name, data }: { name: string; data: JobData }) {
  const [kind, set_kind] = useState<Writable>("note");
  const [what, set_what] = useState("");
  const [text, set_text] = useState("");
  const [where, set_where] = useState("");
  const [condition, set_condition] = useState(data.job.condition ?? "");
  const [minutes, set_minutes] = useState("30");
  const [recurrences, set_recurrences] = useState("0");
  const [error, set_error] = useState("");
  const [open, set_open] = useState(false);
  const kinds = kind === "finding" ? finding_kinds : kind === "work" ? work_kinds : [];
  useEffect(() => set_what(kinds[0] ?? ""), [kind]);

  const write = async () => {
    set_error("");
    const names = where.split(/[\s,;]+/).filter((n) => n !== "");
    const joints = names.filter((n) => data.map.joints.some((j) => j.name === n));
    const parts = names.filter((n) => !joints.includes(n));
    const entry: NewEntry = { kind, text: text.trim() };
    if (kinds.length > 0) Object.assign(entry, { what, joints, parts });
    if (kind === "trial") Object.assign(entry, { condition: condition.trim(), minutes: Number(minutes), recurrences: Number(recurrences) });
    try {
      await api.add_entry(name, entry);
      set_text("");
      set_where("");
      set_open(false);
    } catch (e) {
      set_error((e as Error).message);
    }
  };
  if (!open) {
    return (
      <button class="wide" onClick={() => set_open(true)}>
        <Icon name="plus" />
        Write something down
      </button>
    );
  }
  return (
    <form
      class="write"
      onSubmit={(e) => {
        e.preventDefault();
        void write();
      }}
    >
      <div class="segments" role="radiogroup" aria-label="Kind of entry">
        {writable.map((k) => (
          <button key={k} type="button" role="radio" aria-checked={k === kind} onClick={() => set_kind(k)}>
            {entry_words[k]}
          </button>
        ))}
      </div>
      {kinds.length > 0 && (
        <>
          <label>
            {kind === "finding" ? "What was seen" : "What was done"}
            <select value={what} onChange={(e) => set_what(e.currentTarget.value)}>
              {kinds.map((k) => (
                <option key={k}>{k}</option>
              ))}
            </select>
          </label>
          <label>
            Where: joints or parts, such as C3 or U1.3
            <input value={where} onInput={(e) => set_where(e.currentTarget.value)} spellcheck={false} />
          </label>
          {kind === "work" && <p class="hint">Proof that this work could have broken is asked for again.</p>}
        </>
      )}
      {kind === "trial" && (
        <>
          <label>
            Condition
            <input value={condition} required onInput={(e) => set_condition(e.currentTarget.value)} placeholder="warm, after half an hour" />
          </label>
          <div class="row even">
            <label>
              Minutes
              <input type="number" min="0" step="any" required value={minutes} onInput={(e) => set_minutes(e.currentTarget.value)} />
            </label>
            <label>
              How often the fault came
              <input type="number" min="0" step="1" required value={recurrences} onInput={(e) => set_recurrences(e.currentTarget.value)} />
            </label>
          </div>
        </>
      )}
      <label>
        {kind === "note" ? "Note" : "In your words"}
        <textarea rows={3} value={text} required={kind === "note"} onInput={(e) => set_text(e.currentTarget.value)} />
      </label>
      <Refused text={error} />
      <div class="row">
        <button class="strong" type="submit">
          Write it down
        </button>
        <button type="button" onClick={() => set_open(false)}>
          Not now
        </button>
      </div>
    </form>
  );
}
