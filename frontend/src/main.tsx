import { render } from "preact";
import "./style/base.css";
import "./style/screens.css";
import "./style/practice.css";
import { App } from "./App";
import { begin, heardKey } from "./state/conduct";
import { loadStart } from "./state/opening";
import { theme } from "./state/room";

theme.subscribe((choice) => {
  if (choice === "system") document.documentElement.removeAttribute("data-theme");
  else document.documentElement.dataset.theme = choice;
});
window.addEventListener("keydown", heardKey, { capture: true });
void begin();
void loadStart();
const host = document.getElementById("room");
if (host) render(<App />, host);
