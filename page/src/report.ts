// The review report: reads the document inside its own file and shows it.
import { mount } from "svelte";
import "./style.css";
import Report from "./Report.svelte";
import type { Dossier } from "./dossier";

const text = document.getElementById("dossier")?.textContent ?? "null";
const target = document.getElementById("page");
if (target) mount(Report, { target, props: { dossier: JSON.parse(text) as Dossier } });
