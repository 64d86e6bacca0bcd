import { mount } from "svelte";
import App from "./App.svelte";
import { install } from "./lib/link.svelte";
import "./theme.css";

mount(App, { target: document.body });
void install();
