// The page's frame: which job is open stands in the address (#/job/NAME/PANEL), so that a reload, a bookmark and
// the browser's back key all lead to the same place.
import { useEffect, useState } from "preact/hooks";
import { api, type Caution } from "./api";
import { JobPage, panels, type PanelName } from "./job_page";
import { JobsPage } from "./jobs_page";
import { Icon, Mark } from "./parts";
import { set_theme, stored_theme, themes, type Theme } from "./theme";

export interface Place {
  job: string | null;
  panel: PanelName;
}

function place_now(): Place {
  const [, kind, job, panel] = location.hash.split("/");
  if (kind !== "job" || !job) return { job: null, panel: "board" };
  return { job: decodeURIComponent(job), panel: panels.find((p) => p === panel) ?? "board" };
}

export function go(place: Place): void {
  location.hash = place.job === null ? "#/" : `#/job/${encodeURIComponent(place.job)}/${place.panel}`;
}

export function App() {
  const [place, set_place] = useState(place_now);
  const [title, set_title] = useState("");
  const [cautions, set_cautions] = useState(false);
  useEffect(() => {
    const moved = () => set_place(place_now());
    window.addEventListener("hashchange", moved);
    return () => window.removeEventListener("hashchange", moved);
  }, []);
  useEffect(() => {
    if (place.job === null) set_title("");
  }, [place.job]);
  useEffect(() => {
    document.title = title === "" ? "Eyelet" : `${title} · Eyelet`;
  }, [title]);
  return (
    <div class="app">
      <header class="top">
        <a class="brand" href="#/" aria-label="Eyelet, all jobs">
          <Mark />
          <span>eyelet</span>
        </a>
        {title !== "" && <h1 class="top-title">{title}</h1>}
        <span class="spacer" />
        <button class="quiet caution-button" onClick={() => set_cautions(true)} aria-haspopup="dialog">
          <Icon name="caution" />
          <span>Cautions</span>
        </button>
        <ThemeSwitch />
      </header>
      {place.job === null ? (
        <JobsPage />
      ) : (
        <JobPage key={place.job} name={place.job} panel={place.panel} on_title={set_title} />
      )}
      {cautions && <Cautions on_close={() => set_cautions(false)} />}
    </div>
  );
}

function ThemeSwitch() {
  const [theme, set] = useState<Theme>(stored_theme);
  const words: Record<Theme, string> = { auto: "As the device", light: "Light", dark: "Dark" };
  return (
    <div class="theme" role="radiogroup" aria-label="Light or dark">
      {themes.map((t) => (
        <button
          key={t}
          role="radio"
          aria-checked={t === theme}
          title={words[t]}
          aria-label={words[t]}
          onClick={() => {
            set_theme(t);
            set(t);
          }}
        >
          <Icon name={t === "auto" ? "half" : t === "light" ? "sun" : "moon"} />
        </button>
      ))}
    </div>
  );
}

function Cautions({ on_close }: { on_close: () => void }) {
  const [list, set_list] = useState<Caution[] | null>(null);
  const [error, set_error] = useState("");
  useEffect(() => {
    api.cautions().then(set_list, (e: Error) => set_error(e.message));
  }, []);
  return (
    <dialog
      class="sheet"
      aria-labelledby="cautions-title"
      ref={(dialog) => {
        if (dialog && !dialog.open) dialog.showModal();
      }}
      onClose={on_close}
      onClick={(e) => {
        if (e.target === e.currentTarget) on_close();
      }}
    >
      <div class="sheet-body">
        <h2 id="cautions-title">Before the probes touch anything</h2>
        <p class="lead">
          These are reminders, not instructions. Where local codes or a licence govern the work, they come first.
        </p>
        {error !== "" && <p class="refusal" role="alert">{error}</p>}
        <dl class="cautions">
          {(list ?? []).map((c) => (
            <div key={c.key}>
              <dt>{c.title}</dt>
              <dd>{c.text}</dd>
            </div>
          ))}
        </dl>
        <button class="strong" onClick={on_close} autofocus>
          Understood
        </button>
      </div>
    </dialog>
  );
}
