// What can be taken away: the report and the netlists.
import { useState } from "preact/hooks";
import { api } from "../api";
import type { JobData } from "../job_page";
import { Icon, Refused } from "../parts";

export function PapersPanel({ name, data }: { name: string; data: JobData }) {
  const [making, set_making] = useState(false);
  const [error, set_error] = useState("");
  // Fetched rather than linked to, so that a refusal is read here and not in an empty tab.
  const take = async (address: string, file: string) => {
    set_error("");
    set_making(true);
    try {
      const answer = await fetch(address);
      if (!answer.ok) throw new Error(((await answer.json()) as { detail?: string }).detail ?? "The server refused.");
      const link = document.createElement("a");
      link.href = URL.createObjectURL(await answer.blob());
      link.download = file;
      link.click();
      setTimeout(() => URL.revokeObjectURL(link.href), 10000);
    } catch (e) {
      set_error((e as Error).message);
    } finally {
      set_making(false);
    }
  };
  const forms = [
    ["csv", "Table", "One row for each joint, for a spreadsheet.", "nets.csv"],
    ["ipc356", "IPC-D-356A", "The open record for bare-board electrical test.", "nets.ipc"],
    ["json", "JSON", "For programs.", "nets.json"],
  ] as const;
  return (
    <>
      <h2>Papers</h2>
      <section class="paper">
        <h3>Report</h3>
        <p>
          The unit, the complaint, both sides of the board with joints and nets over the photographs, what is proven and
          what is not, the journal and every reading. A4, to be kept with the unit.
        </p>
        <button class="strong" disabled={making} onClick={() => void take(api.report_address(name), `${data.job.job}-report.pdf`)}>
          <Icon name="down" />
          {making ? "Making it" : "Report as PDF"}
        </button>
      </section>
      <section class="paper">
        <h3>Nets</h3>
        <p>As the readings leave them at this moment, with their standing.</p>
        <ul class="papers">
          {forms.map(([form, title, text, file]) => (
            <li key={form}>
              <button disabled={making} onClick={() => void take(api.netlist_address(name, form), `${data.job.job}-${file}`)}>
                <Icon name="down" />
                <span>
                  {title}
                  <small>{text}</small>
                </span>
              </button>
            </li>
          ))}
        </ul>
      </section>
      <Refused text={error} />
    </>
  );
}
