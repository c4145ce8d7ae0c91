// Whether a key belongs to the control that has the focus, and not to the page.
export function key_is_taken(event: KeyboardEvent): boolean {
  if (event.ctrlKey || event.metaKey || event.altKey) return true;
  const target = event.target as HTMLElement | null;
  if (!target) return false;
  if (target.closest('dialog, textarea, select, summary, input:not([type="range"], [type="checkbox"])')) return true;
  // A slider keeps the keys that move it, a button or link those that press it.
  if (target.closest('input[type="range"]')) return /^(Arrow|Page|Home|End)/.test(event.key);
  if (target.closest('input[type="checkbox"]')) return event.key === " ";
  return target.closest("button, a") !== null && (event.key === "Enter" || event.key === " ");
}
