// Small pieces that several views share.
import type { ComponentChildren } from "preact";
import { ink } from "./stage/draw";
import type { NetStanding, Standing } from "./api";

export function Mark() {
  return (
    <svg class="mark" viewBox="0 0 32 32" width="26" height="26" aria-hidden="true">
      <circle cx="16" cy="16" r="10" fill="none" stroke="var(--copper)" stroke-width="7" />
      <path d="M16 2.8A13.2 13.2 0 0 1 29.2 16" fill="none" stroke="var(--copper-glint)" stroke-width="2" stroke-linecap="round" />
    </svg>
  );
}

const icons = {
  caution: "M12 3.5 21.5 20h-19zM12 10v4.5M12 17.2v.3",
  sun: "M12 8a4 4 0 1 0 0 8 4 4 0 0 0 0-8M12 2.5v2M12 19.5v2M2.5 12h2M19.5 12h2M5.3 5.3l1.4 1.4M17.3 17.3l1.4 1.4M5.3 18.7l1.4-1.4M17.3 6.7l1.4-1.4",
  moon: "M19.5 14.5A8 8 0 0 1 9.5 4.5a8 8 0 1 0 10 10",
  half: "M12 3.5a8.5 8.5 0 1 0 0 17zM12 3.5a8.5 8.5 0 0 1 0 17",
  flip: "M12 3v18M8 7 3.5 12 8 17M16 7l4.5 5-4.5 5",
  fit: "M4 9V4h5M15 4h5v5M20 15v5h-5M9 20H4v-5",
  plus: "M12 5v14M5 12h14",
  minus: "M5 12h14",
  find: "M10.5 4a6.5 6.5 0 1 0 0 13 6.5 6.5 0 0 0 0-13M15.3 15.3 20.5 20.5",
  close: "M6 6l12 12M18 6 6 18",
  down: "M12 4v12M7 11l5 5 5-5M5 20.5h14",
  folder: "M3.5 6.5h6l2 2.5h9v10h-17z",
  undo: "M8.5 5 4.5 9l4 4M5 9h9a5.5 5.5 0 0 1 0 11h-3",
} as const;

export function Icon({ name }: { name: keyof typeof icons }) {
  return (
    <svg class="icon" viewBox="0 0 24 24" width="20" height="20" aria-hidden="true" fill="none" stroke="currentColor" stroke-width="1.7" stroke-linecap="round" stroke-linejoin="round">
      <path d={icons[name]} fill={name === "half" ? "none" : undefined} />
    </svg>
  );
}

// How a link's standing is drawn on the board, in small.
export function LinkSample({ standing }: { standing: Standing }) {
  const y = 8;
  return (
    <svg class="sample" viewBox="0 0 44 16" width="44" height="16" aria-hidden="true">
      <rect width="44" height="16" rx="4" fill="#1d3430" />
      {standing === "proposed" && <path d={`M5 ${y}h34`} stroke={ink.proposed} stroke-width="1.5" stroke-dasharray="6 4" />}
      {standing === "proven" && <path d={`M5 ${y}h34`} stroke={ink.proven} stroke-width="3" stroke-linecap="round" />}
      {standing === "stale" && <path d={`M6 ${y}h33`} stroke={ink.stale} stroke-width="3.2" stroke-linecap="round" stroke-dasharray="0.01 6" />}
      {standing === "refuted" && (
        <g stroke={ink.refuted}>
          <path d={`M5 ${y}h34`} stroke-width="1" stroke-dasharray="2 3" />
          <path d="M18 4l8 8M18 12l8-8" stroke-width="2.2" stroke-linecap="round" />
        </g>
      )}
    </svg>
  );
}

// How a joint is marked by the standing of its net.
export function JointSample({ standing }: { standing: NetStanding }) {
  const colour = ink[standing];
  return (
    <svg class="sample" viewBox="0 0 20 16" width="20" height="16" aria-hidden="true">
      <rect width="20" height="16" rx="4" fill="#1d3430" />
      <circle cx="10" cy="8" r="5.2" fill="none" stroke={colour} stroke-width="1.6" {...(standing === "stale" ? { "stroke-dasharray": "2.2 2.2" } : {})} />
      {standing === "proven" && <circle cx="10" cy="8" r="3" fill={colour} />}
      {standing === "joined" && <path d="M10 5a3 3 0 0 1 0 6z" fill={colour} />}
    </svg>
  );
}

export function Refused({ text }: { text: string }) {
  return text === "" ? null : (
    <p class="refusal" role="alert">
      {text}
    </p>
  );
}

export function Key({ children }: { children: ComponentChildren }) {
  return <kbd>{children}</kbd>;
}

export function Working({ text, share }: { text: string; share: number | null }) {
  return (
    <div class="working" role="status">
      <div class="working-bar">
        <span class={share === null ? "unknown" : ""} style={share === null ? {} : { width: `${Math.round(100 * share)}%` }} />
      </div>
      <p>{text}</p>
    </div>
  );
}
