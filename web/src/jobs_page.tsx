// All jobs of the bench, and bringing in a new one.
import { useEffect, useRef, useState } from "preact/hooks";
import { api, listen, type JobSummary } from "./api";
import { go } from "./app";
import { Icon, Refused, Working } from "./parts";
import { count, moment, unit_words } from "./words";

interface Chosen {
  file: File;
  name: string; // path inside the chosen folder
}

// Everything in a dropped folder, at any depth.
async function files_in(entry: FileSystemEntry, path: string): Promise<Chosen[]> {
  if (entry.isFile) {
    const file = await new Promise<File>((resolve, reject) => (entry as FileSystemFileEntry).file(resolve, reject));
    return [{ file, name: path + file.name }];
  }
  const reader = (entry as FileSystemDirectoryEntry).createReader();
  const found: Chosen[] = [];
  for (;;) {
    const some = await new Promise<FileSystemEntry[]>((resolve, reject) => reader.readEntries(resolve, reject));
    if (some.length === 0) return found;
    for (const one of some) found.push(...(await files_in(one, `${path}${entry.name}/`)));
  }
}

export function JobsPage() {
  const [jobs, set_jobs] = useState<JobSummary[] | null>(null);
  const [error, set_error] = useState("");
  const [busy, set_busy] = useState<{ text: string; share: number | null } | null>(null);
  const [over, set_over] = useState(false);
  const files_input = useRef<HTMLInputElement>(null);
  const folder_input = useRef<HTMLInputElement>(null);

  const load = () => api.jobs().then(set_jobs, (e: Error) => set_error(e.message));
  useEffect(() => {
    void load();
    return listen({
      change: () => void load(),
      progress: (p) => p.task === "import" && set_busy((now) => now && { text: p.text, share: p.share }),
    });
  }, []);

  const bring_in = async (chosen: Chosen[]) => {
    set_error("");
    if (!chosen.some((c) => /(^|\/)(survey[^/]*|assembly)\.json$/i.test(c.name))) {
      set_error("There is no survey.json among these files. Choose the folder that holds it together with its photographs.");
      return;
    }
    set_busy({ text: "Sending the survey and its photographs", share: null });
    try {
      const { job } = await api.import_survey(chosen);
      go({ job, panel: "align" });
    } catch (e) {
      set_error((e as Error).message);
    } finally {
      set_busy(null);
    }
  };
  const picked = (input: HTMLInputElement) => {
    const list = [...(input.files ?? [])].map((file) => ({ file, name: file.webkitRelativePath || file.name }));
    input.value = "";
    if (list.length > 0) void bring_in(list);
  };
  const dropped = async (event: DragEvent) => {
    event.preventDefault();
    set_over(false);
    const entries = [...(event.dataTransfer?.items ?? [])].map((i) => i.webkitGetAsEntry()).filter((e) => e !== null);
    try {
      const lists = await Promise.all(entries.map((e) => files_in(e, "")));
      await bring_in(lists.flat());
    } catch {
      set_error("The dropped files could not be read. Try choosing the folder instead.");
    }
  };

  return (
    <main class="jobs">
      <section class="jobs-intro">
        <h2>A photograph proposes, a meter proves.</h2>
        <p>
          Bring in photographs of both sides of a board. Eyelet lays them on each other, follows the copper that it can
          see, and then asks for just those touches of the meter that turn the guess into a proven map.
        </p>
      </section>
      <section
        class={`drop${over ? " over" : ""}`}
        aria-label="New job"
        onDragOver={(e) => {
          e.preventDefault();
          set_over(true);
        }}
        onDragLeave={() => set_over(false)}
        onDrop={(e) => void dropped(e)}
      >
        <h3>New job</h3>
        {busy ? (
          <Working {...busy} />
        ) : (
          <>
            <p>
              Drop a survey folder here: <code>survey.json</code> with its photographs.
            </p>
            <div class="row">
              <button class="strong" onClick={() => folder_input.current?.click()}>
                <Icon name="folder" />
                Choose a folder
              </button>
              <button onClick={() => files_input.current?.click()}>Choose files</button>
            </div>
          </>
        )}
        <input ref={folder_input} id="survey-folder" type="file" hidden multiple {...{ webkitdirectory: true }} aria-label="Survey folder" onChange={(e) => picked(e.currentTarget)} />
        <input ref={files_input} id="survey-files" type="file" hidden multiple aria-label="Survey files" onChange={(e) => picked(e.currentTarget)} />
        <Refused text={error} />
      </section>
      <section class="job-list" aria-label="Jobs">
        <h3>On this bench</h3>
        {jobs !== null && jobs.length === 0 && <p class="empty">No job yet. The first one starts with two photographs.</p>}
        <ul>
          {(jobs ?? []).map((j) => (
            <li key={j.job}>
              <a href={`#/job/${encodeURIComponent(j.job)}/board`}>
                <span class="job-name">{j.job}</span>
                <span class="job-what">
                  <strong>{j.assembly}</strong>
                  {j.unit !== "" && <span> · {unit_words(j.unit)}</span>}
                </span>
                <span class="job-complaint">{j.complaint || "No complaint written down"}{j.condition ? `, ${j.condition}` : ""}</span>
                <span class="job-facts">
                  {count(j.joints, "joint", "joints")} · {count(j.readings ?? 0, "reading", "readings")} · {moment(j.created)}
                </span>
              </a>
            </li>
          ))}
        </ul>
      </section>
    </main>
  );
}
