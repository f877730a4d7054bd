/* The days picked one by one on Today stay with their dates when a live answer begins on another day. */
(() => {
  "use strict";
  const DAY_MS = 864e5;
  const picks = () => [...document.querySelectorAll(".sky.pick select")];
  const firstField = () => document.querySelector("form.now input[name=first]");
  const dated = (first, place) => new Date(Date.parse(first) + place * DAY_MS).toISOString().slice(0, 10);
  const said = new Map();
  const note = () => {
    const first = firstField();
    if (first) picks().forEach((pick, place) => said.set(dated(first.value, place), pick.value));
  };
  document.addEventListener("change", (event) => { if (event.target.matches?.(".sky.pick select")) note(); });

  const follow = () => {
    const now = document.getElementById("days-now"), first = firstField();
    const chosen = document.getElementById("sky")?.value;
    if (!now || !first || now.dataset.first === first.value || chosen === "kwh") return;
    note();
    const names = now.dataset.names.split("|");
    first.value = now.dataset.first;
    picks().forEach((pick, place) => {
      pick.value = said.get(dated(first.value, place)) ?? "";
      pick.setAttribute("aria-label", `Day ${place + 1}, ${names[place]}`);
      pick.parentElement.querySelector("b").textContent = names[place].slice(0, 3);
    });
    const words = picks().map((pick) => pick.value).join(",");
    if (chosen === "days" && words !== now.dataset.words) first.form.dispatchEvent(new Event("change", { bubbles: true }));
  };
  document.addEventListener("htmx:after:swap", follow);
})();
