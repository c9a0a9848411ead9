// Keeps a page fresh: what happens is told by server-sent events, the page is fetched anew
// and its main part put in place of the old one. Without scripts the page reads the same.
"use strict";

const SOON_MS = 300; // after an alarm
const LATER_MS = 10000; // after new readings, which come all the time

let due = Infinity;
let timer;

async function refresh() {
  due = Infinity;
  // Nothing is pulled from under a hand that fills something in.
  if (document.activeElement?.matches("input, select, textarea")) return refreshWithin(LATER_MS);
  const answer = await fetch(location.href, { headers: { Accept: "text/html" } });
  if (!answer.ok) return;
  const page = new DOMParser().parseFromString(await answer.text(), "text/html");
  const main = page.querySelector("main");
  const focused = document.activeElement && document.activeElement.id;
  keep(document.querySelector("main"), main);
  document.title = page.title;
  document.querySelector("main").replaceWith(main);
  if (focused) document.getElementById(focused)?.focus({ preventScroll: true });
}

// What was opened stays open, and pictures that are the same are not loaded again.
function keep(old, fresh) {
  const name = (details) => (details.closest("[id]")?.id ?? "") + details.querySelector("summary")?.textContent;
  const open = new Set([...old.querySelectorAll("details[open]")].map(name));
  for (const each of fresh.querySelectorAll("details")) each.open = open.has(name(each));
  const pictures = new Map([...old.querySelectorAll("img")].map((each) => [each.getAttribute("src"), each]));
  for (const each of fresh.querySelectorAll("img")) {
    const same = pictures.get(each.getAttribute("src"));
    if (same) each.replaceWith(same);
  }
}

function refreshWithin(wait) {
  const at = Date.now() + wait;
  if (at >= due) return;
  due = at;
  clearTimeout(timer);
  timer = setTimeout(() => refresh().catch(() => {}), wait);
}

// What no event tells of, such as a message that nobody is set up for, is looked for now and then.
const every = Number(document.currentScript.dataset.every);
if (every) setInterval(() => refreshWithin(0), every);

const events = new EventSource("/api/v1/events");
events.addEventListener("alarm", () => refreshWithin(SOON_MS));
events.addEventListener("climate", () => refreshWithin(LATER_MS));
// After a break something may have been missed.
events.addEventListener("open", () => refreshWithin(LATER_MS));
