// Light and dark: the device's own choice unless the person set one here.
export const themes = ["auto", "light", "dark"] as const;
export type Theme = (typeof themes)[number];

export function stored_theme(): Theme {
  try {
    const stored = localStorage.getItem("eyelet.theme");
    return themes.find((t) => t === stored) ?? "auto";
  } catch {
    return "auto"; // storage may be forbidden; the page works without
  }
}

export function apply_theme(theme: Theme): void {
  if (theme === "auto") delete document.documentElement.dataset.theme;
  else document.documentElement.dataset.theme = theme;
}

export function set_theme(theme: Theme): void {
  apply_theme(theme);
  try {
    localStorage.setItem("eyelet.theme", theme);
  } catch {
    // Not kept over a reload, then.
  }
}
