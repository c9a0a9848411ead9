// Looks closer at a course: draw across it, zoom and move by keys, read values under the pointer.
// What is there is stretched at once; the server then draws the new span afresh.
"use strict";

document.documentElement.classList.add("with-scripts");

const WIDTH = 1000; // of a plot, in its own units
const LEAST_PX = 8; // a shorter stroke is no wish to zoom
const KEYS = { "+": 0.5, "=": 0.5, "-": 2, _: 2 };

let spec = null; // of the course on the page
let stroke = null; // where a stroke across the strips began, as a share of their width
let asked = 0;

const course = () => document.getElementById("course");
const field = () => document.querySelector(".field-of-time");

function read() {
  const text = document.getElementById("course-spec");
  if (text === null) return null;
  if (spec === null || spec.source !== text) spec = { source: text, ...JSON.parse(text.textContent) };
  return spec;
}

function share(event) {
  const box = document.querySelector(".plot").getBoundingClientRect();
  return Math.min(Math.max((event.clientX - box.left) / box.width, 0), 1);
}

function show(at) {
  const { start, end, strips, times, plus, digits, sign } = read();
  const at_ms = start + at * (end - start);
  document.querySelectorAll(".strip").forEach((strip, number) => {
    const { points, resolution_s } = strips[number];
    const width = 1000 * resolution_s;
    const point = nearest(points, at_ms - width / 2);
    const hair = strip.querySelector(".hair");
    const readout = strip.querySelector(".readout");
    hair.classList.add("shown");
    hair.setAttribute("x1", `${100 * at}%`);
    hair.setAttribute("x2", `${100 * at}%`);
    if (point === undefined) return void (readout.textContent = "");
    const [mean, low, high] = point.slice(1).map((each) => (each * times + plus).toFixed(digits));
    const spread = low === high ? "" : ` (${low}–${high})`;
    readout.textContent = `${clock(point[0] + width / 2)}  ${mean} ${sign}${spread}`;
  });
}

function clock(at_ms) {
  const { zone, start, end } = read();
  const day = end - start > 86400000 ? { day: "numeric", month: "short" } : {};
  return new Date(at_ms).toLocaleString("en-GB", { timeZone: zone, hour: "2-digit", minute: "2-digit", ...day });
}

function nearest(points, at_ms) {
  let low = 0;
  let high = points.length - 1;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (points[middle][0] < at_ms) low = middle + 1;
    else high = middle;
  }
  const before = points[low - 1];
  return before && at_ms - before[0] < points[low][0] - at_ms ? before : points[low];
}

function hide() {
  document.querySelectorAll(".hair").forEach((hair) => hair.classList.remove("shown"));
  document.querySelectorAll(".readout").forEach((each) => (each.textContent = ""));
}

function choose(from, to) {
  document.querySelectorAll(".plot").forEach((plot) => {
    let chosen = plot.querySelector(".chosen");
    if (chosen === null) {
      chosen = document.createElementNS("http://www.w3.org/2000/svg", "rect");
      chosen.setAttribute("class", "chosen");
      chosen.setAttribute("height", "100");
      plot.append(chosen);
    }
    chosen.setAttribute("x", WIDTH * Math.min(from, to));
    chosen.setAttribute("width", WIDTH * Math.abs(to - from));
  });
}

// Shares of the width that is shown now; beyond 0 and 1 lies what was not shown.
function look(from, to) {
  const { start, end } = read();
  const length = end - start;
  document.querySelectorAll(".plot").forEach((plot) => {
    plot.querySelector(".chosen")?.remove();
    plot.setAttribute("viewBox", `${WIDTH * from} 0 ${WIDTH * (to - from)} 100`);
  });
  document.querySelectorAll(".times, .marks, .level").forEach((each) => (each.style.opacity = "0.3"));
  const query = new URLSearchParams(location.search);
  query.set("from", Math.max(Math.round(start + from * length), 0));
  query.set("to", Math.round(start + to * length));
  fetchCourse(query);
}

async function fetchCourse(query) {
  const number = ++asked;
  const answer = await fetch(`${course().dataset.of}?${query}`, { headers: { Accept: "text/html" } });
  if (!answer.ok || number !== asked) return;
  const page = new DOMParser().parseFromString(await answer.text(), "text/html");
  const focused = document.activeElement === field();
  course().replaceWith(page.getElementById("course"));
  history.replaceState(null, "", `?${query}`);
  if (focused) field()?.focus({ preventScroll: true });
}

document.addEventListener("pointerdown", (event) => {
  if (event.button === 0 && event.target.closest(".strip .row")) stroke = share(event);
});
document.addEventListener("pointermove", (event) => {
  if (read() === null) return;
  if (stroke !== null) choose(stroke, share(event));
  else if (event.target.closest?.(".field-of-time")) show(share(event));
  else hide();
});
document.addEventListener("pointerup", (event) => {
  if (stroke === null) return;
  const [from, to] = [stroke, share(event)].sort((one, other) => one - other);
  stroke = null;
  const width = document.querySelector(".plot").getBoundingClientRect().width;
  if ((to - from) * width >= LEAST_PX) look(from, to);
  else document.querySelectorAll(".chosen").forEach((each) => each.remove());
});
document.addEventListener("pointercancel", () => {
  stroke = null;
  document.querySelectorAll(".chosen").forEach((each) => each.remove());
});
document.addEventListener("keydown", (event) => {
  if (document.activeElement !== field() || event.ctrlKey || event.metaKey || event.altKey) return;
  if (event.key in KEYS) {
    const half = KEYS[event.key] / 2;
    look(0.5 - half, 0.5 + half);
  } else if (event.key === "ArrowLeft") look(-0.25, 0.75);
  else if (event.key === "ArrowRight") look(0.25, 1.25);
  else if (event.key === "Home") {
    const query = new URLSearchParams(location.search);
    query.delete("from");
    query.delete("to");
    fetchCourse(query);
  } else return;
  event.preventDefault();
});
document.addEventListener("click", (event) => {
  const link = event.target.closest?.("#course .choices a");
  if (!link || event.button !== 0 || event.ctrlKey || event.metaKey || event.shiftKey) return;
  const query = new URL(link.href).searchParams;
  if (query.get("quantity") !== read()?.quantity) return; // the drawings below change, too
  event.preventDefault();
  fetchCourse(query);
});
