// The live page: the document it begins with stands in its own file, the rest is asked of the program behind it.
import { mount } from "svelte";
import "./style.css";
import "./live.css";
import Live from "./Live.svelte";
import type { LiveDossier } from "./dossier";

const text = document.getElementById("dossier")?.textContent ?? "null";
const target = document.getElementById("page");
if (target) mount(Live, { target, props: { first: JSON.parse(text) as LiveDossier } });
