import { render } from "preact";
import { App } from "./app";
import "./style.css";
import { apply_theme, stored_theme } from "./theme";

apply_theme(stored_theme());
render(<App />, document.getElementById("page")!);
