// Everything here only adds: each page works without it. Nothing is sent on by itself, save a scan into the scan field.
"use strict";

// --- The scan field: listens to a scanner that types, wherever the focus is, and to the key "/". ---
const scan = document.querySelector("[data-scan]");
// A scanner types faster than any hand; the last key is Enter.
const FAST_MS = 45;
const LEAST = 6;
const MOST = 200;
let burst = "";
let last = 0;

const typing = (element) =>
  element instanceof HTMLElement &&
  (element.isContentEditable || /^(INPUT|TEXTAREA|SELECT)$/.test(element.tagName)) &&
  !/^(checkbox|radio|button|submit)$/.test(element.type || "");

document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.altKey || event.metaKey || event.isComposing || typing(event.target)) {
    burst = "";
    return;
  }
  const now = performance.now();
  if (now - last > FAST_MS) burst = "";
  last = now;
  if (event.key.length === 1) {
    burst = (burst + event.key).slice(-MOST);
  }
  if (event.key === "Enter" && burst.length >= LEAST && scan) {
    // The focus may be on a link or a button, which a scan must not press.
    event.preventDefault();
    scan.value = burst;
    burst = "";
    scan.form.requestSubmit();
    return;
  }
  if (burst.length > 1) return;
  if (event.key === "/" && scan) {
    event.preventDefault();
    burst = "";
    scan.focus();
    scan.select();
  } else if ((event.key === "t" || event.key === "T") && !event.repeat) {
    // Wait to see whether it is the beginning of a scan.
    window.setTimeout(() => {
      if (burst.length === 1) turn(document.querySelector("[data-card]"));
    }, FAST_MS + 20);
  }
});

// --- The card turns over: by key T, its corner, or the button. ---
function turn(card) {
  if (!card) return;
  const sides = [...card.querySelectorAll("[data-side]")];
  const shown = sides.findIndex((side) => !side.hidden);
  sides.forEach((side, i) => {
    side.hidden = i !== (shown + 1) % sides.length;
  });
  card.classList.add("turned");
  const front = !sides[0].hidden;
  const said = card.querySelector("[data-card-said]");
  if (said) said.textContent = front ? "Front of the card" : "Back of the card";
}

for (const card of document.querySelectorAll("[data-card]")) {
  const sides = card.querySelectorAll("[data-side]");
  if (sides.length < 2) continue;
  card.classList.add("turns");
  sides[1].hidden = true;
  const said = document.createElement("span");
  said.className = "visually-hidden";
  said.setAttribute("role", "status");
  said.dataset.cardSaid = "";
  card.append(said);
  const bar = card.querySelector("[data-card-turn]");
  if (bar) {
    bar.hidden = false;
    bar.querySelector("button").addEventListener("click", () => turn(card));
  }
  for (const side of sides) {
    side.querySelector("svg").addEventListener("click", (event) => {
      const box = event.currentTarget.getBoundingClientRect();
      const reach = Math.max(44, box.width * 0.08);
      if (event.clientX > box.right - reach && event.clientY < box.top + reach) turn(card);
    });
  }
}

// --- Set time: <span class="timer" data-seconds="360" data-since="2026-03-14T10:00:00Z">. ---
// Counts down from a start on the record; without data-since, from the press of the button inside [data-timer-start].
function clock(seconds) {
  const whole = Math.abs(Math.trunc(seconds));
  const pad = (n) => String(n).padStart(2, "0");
  const h = Math.trunc(whole / 3600);
  const rest = `${pad(Math.trunc(whole / 60) % 60)}:${pad(whole % 60)}`;
  return h > 0 ? `${h}:${rest}` : rest;
}

function run(timer, since, seconds) {
  const step = () => {
    const left = seconds - (Date.now() - since) / 1000;
    timer.textContent = left > 0 ? `${clock(left)} to go` : `set time over since ${clock(left)}`;
    timer.classList.toggle("due", left <= 0);
    // Said aloud once, not every second.
    if (left <= 0 && timer.getAttribute("role") !== "status") timer.setAttribute("role", "status");
  };
  step();
  window.clearInterval(Number(timer.dataset.running));
  timer.dataset.running = String(window.setInterval(step, 1000));
}

for (const timer of document.querySelectorAll(".timer[data-seconds]")) {
  const seconds = Number(timer.dataset.seconds);
  if (!Number.isFinite(seconds) || seconds <= 0 || seconds > 1e7) continue;
  const since = Date.parse(timer.dataset.since || "");
  if (Number.isFinite(since)) {
    run(timer, since, seconds);
    continue;
  }
  const start = document.createElement("button");
  start.type = "button";
  start.className = "second";
  start.textContent = `Start ${clock(seconds)}`;
  start.addEventListener("click", () => run(timer, Date.now(), seconds));
  timer.after(start);
}

// --- Forms: one press is enough. The server takes a form that comes twice as one, so this is only calm. ---
document.addEventListener("submit", (event) => {
  const form = event.target;
  if (form.dataset.sent) {
    event.preventDefault();
    return;
  }
  if (form.method === "post") {
    form.dataset.sent = "1";
    window.setTimeout(() => delete form.dataset.sent, 4000);
  }
});

// --- After a refusal the eye and the screen reader begin there. ---
const refusal = document.querySelector(".refusal");
if (refusal) refusal.focus();
