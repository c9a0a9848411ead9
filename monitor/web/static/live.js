// Keeps the room page fresh: what happens is told by server-sent events, the page is fetched anew
// and its main part put in place of the old one. Without scripts the page reads the same.
"use strict";

const SOON_MS = 300; // after an alarm
const LATER_MS = 10000; // after new readings, which come all the time

let due = Infinity;
let timer;

async function refresh() {
  due = Infinity;
  const answer = await fetch("/", { headers: { Accept: "text/html" } });
  if (!answer.ok) return;
  const page = new DOMParser().parseFromString(await answer.text(), "text/html");
  const focused = document.activeElement && document.activeElement.id;
  document.title = page.title;
  document.querySelector("main").replaceWith(page.querySelector("main"));
  if (focused) document.getElementById(focused)?.focus({ preventScroll: true });
}

function refreshWithin(wait) {
  const at = Date.now() + wait;
  if (at >= due) return;
  due = at;
  clearTimeout(timer);
  timer = setTimeout(() => refresh().catch(() => {}), wait);
}

const events = new EventSource("/api/v1/events");
events.addEventListener("alarm", () => refreshWithin(SOON_MS));
events.addEventListener("climate", () => refreshWithin(LATER_MS));
// After a break something may have been missed.
events.addEventListener("open", () => refreshWithin(LATER_MS));
