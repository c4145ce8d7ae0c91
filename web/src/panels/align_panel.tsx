// The photographs: do they lie on the board, and which shade is copper?
import { tones, type FollowSummary, type PhotographFit, type Side, type Tone, type ToneState } from "../api";
import type { JobData } from "../job_page";
import { count, mm, percent, side_words } from "../words";

interface Props {
  data: JobData;
  busy: boolean;
  on_align: () => void;
  on_follow: () => void;
  on_tone: (board: number, side: Side, tone: Tone) => void;
  on_show: (board: number, side: Side) => void;
  on_ring: () => void;
}

const unsure_below = 0.9; // a tone less sure than this is asked about

export function AlignPanel({ data, busy, on_align, on_follow, on_tone, on_show, on_ring }: Props) {
  const { job, alignment, tones: follow } = data;
  const several = job.boards.length > 1;
  const photographs = job.boards.flatMap((b) => b.photographs);
  if (!job.steps.aligned) {
    return (
      <>
        <h2>Lay the photographs on the board</h2>
        <p>
          {count(photographs.length, "photograph", "photographs")} came with the survey. Aligning finds out how each one lies
          on the board, from the joints that were pointed out in it, and straightens it.
        </p>
        <button class="strong" disabled={busy} onClick={on_align}>
          Align the photographs
        </button>
        {alignment.remarks.map((r) => (
          <p key={r} class="remark">{r}</p>
        ))}
      </>
    );
  }
  const questions = follow.tones.filter((t) => !t.settled && t.sure < unsure_below);
  return (
    <>
      <h2>Do the photographs lie on the board?</h2>
      <p class="lead">
        Each tie point is a joint that someone pointed out in a photograph. The ring on the board is where the fit expects
        it, the line leads to where it was pointed out.
      </p>
      {alignment.photographs.map((fit) => (
        <Fit key={fit.photograph} fit={fit} board={several ? (job.boards[fit.board]?.name ?? "") : ""} on_show={() => on_show(fit.board, fit.side)} />
      ))}
      {alignment.remarks.map((r) => (
        <p key={r} class="remark">{r}</p>
      ))}
      <div class="row">
        <button disabled={busy} onClick={on_align} class={alignment.photographs.some((f) => f.out_of_date) ? "strong" : ""}>
          Align again
        </button>
        {!job.steps.followed && (
          <button class="strong" disabled={busy} onClick={on_follow}>
            Follow the copper
          </button>
        )}
      </div>

      {job.steps.followed && (
        <>
          <h2>Copper that was followed</h2>
          {questions.map((q) => (
            <ToneQuestion key={`${q.board} ${q.side}`} q={q} board={several ? (job.boards[q.board]?.name ?? "") : ""} busy={busy} on_tone={on_tone} on_show={on_show} />
          ))}
          <Followed follow={follow} />
          <ul class="tones">
            {follow.tones.map((t) => (
              <li key={`${t.board} ${t.side}`}>
                {several && `${job.boards[t.board]?.name}, `}
                {side_words[t.side]}: the {t.tone} shade is copper,{" "}
                {t.settled ? "as you said" : `${percent(t.sure)} sure`}.{" "}
                <button class="inline" disabled={busy} onClick={() => on_tone(t.board, t.side, t.tone === "lighter" ? "darker" : "lighter")}>
                  It is the {t.tone === "lighter" ? "darker" : "lighter"} one
                </button>
              </li>
            ))}
          </ul>
          <div class="row">
            <button disabled={busy} onClick={on_follow}>
              Follow again
            </button>
            <button class="strong" disabled={busy} onClick={on_ring}>
              Ring it out
            </button>
          </div>
        </>
      )}
    </>
  );
}

function Followed({ follow }: { follow: FollowSummary }) {
  return (
    <>
      <p>
        {count(follow.links, "link", "links")} proposed: {follow.links_sure} of them at 90 % or more, {follow.links_likely} likelier
        than not. The rest are weak guesses, kept because a meter settles them quickly.
      </p>
      {follow.remarks.map((r) => (
        <p key={r} class="remark">{r}</p>
      ))}
    </>
  );
}

function Fit({ fit, board, on_show }: { fit: PhotographFit; board: string; on_show: () => void }) {
  const rejected = fit.tie_points.filter((t) => !t.used);
  const used = fit.tie_points.filter((t) => t.used);
  const worst = Math.max(0.0001, fit.limit_mm ?? 0, ...used.map((t) => t.misfit_mm));
  return (
    <section class="fit">
      <h3>
        {board !== "" && `${board}, `}
        {side_words[fit.side]}
        <button class="inline" onClick={on_show}>
          show
        </button>
      </h3>
      <p>
        {fit.rms_mm === null || fit.rms_mm === undefined
          ? "Four tie points always fit, so they tell nothing about the misfit. Point out a fifth joint to be sure."
          : `The tie points lie ${mm(fit.rms_mm)} off in the mean, the worst ${mm(fit.worst_mm ?? 0)}${fit.limit_mm ? `; up to ${mm(fit.limit_mm)} would do for the finest pitch on this board` : ""}.`}
        {fit.out_of_date && " Tie points or map have changed since: align again."}
      </p>
      {fit.refined && fit.located_rms_mm !== null && fit.located_rms_mm !== undefined && (
        <p>
          {fit.joints_located} of {fit.joints_sought} joints were then found in the photograph itself, {mm(fit.located_rms_mm)} off in
          the mean, the worst {mm(fit.located_worst_mm ?? 0)}. The fit rests on these.
        </p>
      )}
      {rejected.length > 0 && (
        <p class="warn">
          Left out as plainly wrong: {rejected.map((t) => `${t.joint} (${mm(t.misfit_mm)} off)`).join(", ")}.
        </p>
      )}
      <table class="misfits">
        <caption class="unseen">Misfit of each tie point</caption>
        <tbody>
          {fit.tie_points.map((t) => (
            <tr key={t.joint} class={t.used ? "" : "rejected"}>
              <th scope="row">{t.joint}</th>
              <td class="bar">
                {t.used && <span style={{ width: `${Math.min(100, (100 * t.misfit_mm) / worst)}%` }} />}
              </td>
              <td class="num">{t.used ? mm(t.misfit_mm) : "left out"}</td>
            </tr>
          ))}
        </tbody>
      </table>
      {fit.remarks.map((r) => (
        <p key={r} class="remark">{r}</p>
      ))}
    </section>
  );
}

function ToneQuestion({ q, board, busy, on_tone, on_show }: { q: ToneState; board: string; busy: boolean; on_tone: Props["on_tone"]; on_show: Props["on_show"] }) {
  return (
    <section class="tone-question" role="group" aria-label="Which shade is copper?">
      <h3>
        Which shade is copper on the {board !== "" && `${board} board's `}
        {side_words[q.side]}?
      </h3>
      <p>
        Under the solder mask there are two shades: tracks and the bare board between them. The photograph does not settle
        which is which ({percent(q.sure)} for the {q.tone} one). Look at a track that you know, and say.
      </p>
      <div class="row">
        {tones.map((t) => (
          <button key={t} class="tone-choice" disabled={busy} onClick={() => on_tone(q.board, q.side, t)}>
            <span class={`swatch ${t}`} aria-hidden="true" />
            The {t} shade is copper
          </button>
        ))}
        <button class="inline" onClick={() => on_show(q.board, q.side)}>
          show this side
        </button>
      </div>
    </section>
  );
}
