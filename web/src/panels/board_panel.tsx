// What is known about the chosen joint and its net; without a choice, the nets and what the lines mean.
import { useEffect, useState } from "preact/hooks";
import { net_standings, standings, type Link, type Net, type Side } from "../api";
import type { JobData } from "../job_page";
import { Icon, JointSample, LinkSample } from "../parts";
import type { Lit } from "../stage/draw";
import { count, link_where, mm, net_standing_words, percent, standing_words, where_of } from "../words";

interface Props {
  data: JobData;
  chosen: string | null;
  lit: Lit | null;
  least: number;
  show_links: boolean;
  show_refuted: boolean;
  on_refuted: (show: boolean) => void;
  on_least: (least: number) => void;
  on_links: (show: boolean) => void;
  on_choose: (joint: string | null, look: boolean) => void;
  on_look: (joints: string[], side?: Side) => void;
}

export function BoardPanel(props: Props) {
  return props.chosen === null || props.lit === null ? <Overview {...props} /> : <Chosen {...props} joint={props.chosen} lit={props.lit} />;
}

function Overview({ data, least, show_links, show_refuted, on_refuted, on_least, on_links, on_choose, on_look }: Props) {
  const [wanted, set_wanted] = useState("");
  const [all, set_all] = useState(false);
  const of = (n: Net) => n.joints.length > 1;
  const nets = data.nets.filter(of);
  const source = nets.length > 0 ? nets : data.proposed.filter(of);
  const found = source.filter((n) => {
    const w = wanted.trim().toLowerCase();
    return w === "" || n.name.toLowerCase().includes(w) || n.joints.some((j) => j.toLowerCase().includes(w));
  });
  const proven = data.links.filter((l) => l.standing === "proven").length;
  const open = data.links.filter((l) => l.standing === "proposed" && l.probability >= 0.5).length;
  return (
    <>
      <h2>{data.job.complaint || "No complaint written down"}</h2>
      {data.job.condition && <p class="lead">Shows {data.job.condition}.</p>}
      <p>
        {count(data.map.joints.filter((j) => j.kind === "pad").length, "joint", "joints")} that a needle can reach,{" "}
        {count(proven, "link", "links")} proven, {count(open, "likely proposal", "likely proposals")} still to be proven.
        Choose a joint on the board, or press <kbd>/</kbd> and type its name.
      </p>

      <h3>What the lines and marks mean</h3>
      <ul class="legend">
        {standings.map((s) => (
          <li key={s}>
            <LinkSample standing={s} />
            <span>
              <strong>{standing_words[s].name}</strong> {standing_words[s].meaning}
            </span>
          </li>
        ))}
        {net_standings.map((s) => (
          <li key={`joint ${s}`}>
            <JointSample standing={s} />
            <span>
              <strong>joint of a {net_standing_words[s].name} net</strong> {net_standing_words[s].meaning}
            </span>
          </li>
        ))}
      </ul>
      <div class="choices">
        <label class="check">
          <input type="checkbox" checked={show_links} onChange={(e) => on_links(e.currentTarget.checked)} />
          Draw the links
        </label>
        <label class="check">
          <input type="checkbox" checked={show_refuted} disabled={!show_links} onChange={(e) => on_refuted(e.currentTarget.checked)} />
          and those that readings refuted
        </label>
        <label class="range">
          <span>
            Proposals from {percent(least)}
          </span>
          <input type="range" min="1" max="95" aria-label="Draw proposals from this probability on" aria-valuetext={percent(least)} value={Math.round(100 * least)} disabled={!show_links} onInput={(e) => on_least(Number(e.currentTarget.value) / 100)} />
        </label>
      </div>

      <h3>Nets</h3>
      <input class="filter" type="search" placeholder="Net or joint" aria-label="Show only nets with this name or joint" value={wanted} onInput={(e) => set_wanted(e.currentTarget.value)} />
      <ul class="nets">
        {found.slice(0, all ? found.length : 40).map((n) => (
          <li key={n.name}>
            <button
              onClick={() => {
                on_choose(n.joints[0] ?? null, false);
                on_look(n.joints);
              }}
            >
              <JointSample standing={n.standing} />
              <span class="name">{n.name}</span>
              <span class="facts">
                {count(n.joints.length, "joint", "joints")}, {net_standing_words[n.standing].name}
              </span>
            </button>
          </li>
        ))}
      </ul>
      {found.length > 40 && !all && <button onClick={() => set_all(true)}>Show all {found.length}</button>}
      {found.length === 0 && <p class="empty">{source.length === 0 ? "Nothing is joined yet." : "No net has that name or joint."}</p>}
    </>
  );
}

function Chosen({ data, joint, lit, on_choose, on_look }: Props & { joint: string; lit: Lit }) {
  useEffect(() => {
    document.querySelector(".panel-body")?.scrollTo({ top: 0 });
  }, [joint]);
  const here = data.map.joints.find((j) => j.name === joint);
  const part = data.map.parts.find((p) => p.name === here?.part && p.board === here?.board);
  const net = data.nets.find((n) => n.joints.includes(joint));
  const links = data.links
    .filter((l) => l.from === joint || l.to === joint)
    .sort((a, b) => standings.indexOf(b.standing) - standings.indexOf(a.standing) || b.probability - a.probability);
  const refuted = links.filter((l) => l.standing === "refuted");
  const shown = links.filter((l) => l.standing !== "refuted" && (l.standing !== "proposed" || l.probability >= 0.02));
  const readings = data.journal.entries.filter((e) => e.kind === "reading" && !e.withdrawn && (e.from === joint || e.to === joint));
  const alone = !net || net.joints.length === 1 || net.standing === "proposed";
  return (
    <>
      <div class="chosen-head">
        <div>
          <h2 class="mono">{joint}</h2>
          <p class="lead">
            {part && (
              <>
                {part.name}
                {part.value !== "" && `, ${part.value}`}
                {here?.pin ? `, pin ${here.pin}` : ""} ·{" "}
              </>
            )}
            {here ? where_of(here) : "not on the map"}
          </p>
        </div>
        <button class="quiet" onClick={() => on_choose(null, false)} aria-label="Choose nothing" title="Choose nothing (Esc)">
          <Icon name="close" />
        </button>
      </div>

      <h3>
        {alone ? "Alone so far" : `Net ${net.name}`}
        {!alone && <span class={`standing ${net.standing}`}>{net_standing_words[net.standing].name}</span>}
      </h3>
      <p>
        {alone
          ? net?.standing === "proven"
            ? "Readings show that it joins nothing else."
            : "No reading ties it to another joint yet."
          : net_standing_words[net.standing].meaning}
      </p>
      {!alone && <JointList names={[...lit.joints]} chosen={joint} on_choose={on_choose} />}
      {lit.maybe.size > 0 && (
        <>
          <h4>The photographs would add</h4>
          <JointList names={[...lit.maybe]} chosen={joint} on_choose={on_choose} />
        </>
      )}
      <button onClick={() => on_look([...lit.joints, ...lit.maybe])}>Show the whole net</button>

      <h3>Links at this joint</h3>
      {shown.length === 0 && <p class="empty">No copper was seen to leave it.</p>}
      <ul class="links">
        {shown.map((l) => (
          <LinkRow key={`${l.from} ${l.to} ${l.side}`} link={l} other={l.from === joint ? l.to : l.from} on_choose={on_choose} />
        ))}
      </ul>

      {refuted.length > 0 && (
        <details class="fold">
          <summary>{count(refuted.length, "guess", "guesses")} refuted</summary>
          <ul class="links">
            {refuted.map((l) => (
              <LinkRow key={`${l.from} ${l.to} ${l.side}`} link={l} other={l.from === joint ? l.to : l.from} on_choose={on_choose} />
            ))}
          </ul>
        </details>
      )}

      <h3>Readings here</h3>
      {readings.length === 0 && <p class="empty">None yet.</p>}
      <ul class="readings">
        {readings.map((r) => (
          <li key={r.entry}>
            <span class="mono">{r.entry}</span> {r.text}
          </li>
        ))}
      </ul>
    </>
  );
}

function JointList({ names, chosen, on_choose }: { names: string[]; chosen: string; on_choose: Props["on_choose"] }) {
  return (
    <ul class="joint-list">
      {names.map((n) => (
        <li key={n}>
          <button class={n === chosen ? "is-chosen" : ""} onClick={() => on_choose(n, true)}>
            {n}
          </button>
        </li>
      ))}
    </ul>
  );
}

function LinkRow({ link, other, on_choose }: { link: Link; other: string; on_choose: Props["on_choose"] }) {
  const facts = [
    link_where(link),
    ...(link.width_mm ? [`${mm(link.width_mm)} wide`] : []),
    ...(link.hidden && link.hidden >= 0.01 ? [`${percent(link.hidden)} of it hidden`] : []),
  ].join(", ");
  return (
    <li>
      <button onClick={() => on_choose(other, true)}>
        <LinkSample standing={link.standing} />
        <span class="name">{other}</span>
        <span class="facts">
          {standing_words[link.standing].name}
          {link.standing === "proposed" ? `, ${percent(link.probability)} likely` : `, photograph said ${percent(link.probability)}`}
        </span>
      </button>
      <p>
        {facts}.{link.why ? ` ${link.why.charAt(0).toUpperCase()}${link.why.slice(1)}.` : ""}
      </p>
    </li>
  );
}
