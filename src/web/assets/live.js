// Keeps a desk and the intake counter up to date while they are looked at. Without it a page is as of when it was opened.
"use strict";
const region = document.querySelector("[data-live]");
if (region) {
  const POLL_MS = 10000;
  const AGAIN_MS = 60000;
  const part = `/live/part?of=${region.dataset.live}`;
  let seen = region.dataset.liveDigest;
  let source = null;
  let poll = 0;
  let busy = false;
  let again = false;
  let pressed = false;
  let paused = false;
  let over = false;

  // What moves by itself can be held still (WCAG 2.2, 2.2.2).
  const bar = document.createElement("p");
  const word = document.createElement("span");
  const hold = document.createElement("button");
  const said = document.createElement("span");
  bar.className = "live-bar hint";
  bar.append(word, " ", hold, " ", said);
  hold.type = "button";
  hold.className = "quiet";
  said.setAttribute("role", "status");
  (region.closest("table") ?? region).before(bar);

  const tell = () => {
    const state = over ? "over" : paused ? "held" : poll ? "poll" : source ? "stream" : "begin";
    region.dataset.liveState = state;
    word.textContent = {
      over: "You are signed out; nothing here is kept up to date.",
      held: "Held still.",
      poll: "Looked up every ten seconds.",
      stream: "Kept up to date.",
      begin: "",
    }[state];
    hold.textContent = paused ? "Keep it up to date" : "Hold it still";
    hold.hidden = over;
  };

  const keys = () => {
    const all = [...region.querySelectorAll(".desk li .what a")].map((a) => a.getAttribute("href"));
    return new Set(all);
  };

  // The focus goes to the same link or button as before, where it is still there.
  const replace = (content) => {
    const before = keys();
    const focus = region.contains(document.activeElement) ? document.activeElement : null;
    const same = (element) =>
      [...region.querySelectorAll(element.tagName)].filter(
        (e) => e.getAttribute("href") === element.getAttribute("href") && e.textContent === element.textContent,
      );
    const at = focus ? same(focus).indexOf(focus) : 0;
    region.replaceChildren(content);
    if (focus && focus !== region) {
      const found = same(focus);
      (found[at] ?? found[0] ?? region).focus({ preventScroll: true });
    }
    const after = keys();
    const came = [...after].filter((key) => !before.has(key)).length;
    const gone = [...before].filter((key) => !after.has(key)).length;
    const lines = (n) => (n === 1 ? "1 line" : `${n} lines`);
    if (came > 0 && gone > 0) said.textContent = `${lines(came)} more, ${lines(gone)} gone.`;
    else if (came > 0) said.textContent = `${lines(came)} more.`;
    else if (gone > 0) said.textContent = `${lines(gone)} gone.`;
    else said.textContent = "What stands here changed.";
  };

  const put = (html) => {
    const template = document.createElement("template");
    template.innerHTML = html;
    if (region.tagName === "TBODY") {
      region.dispatchEvent(new CustomEvent("live-lines", { detail: template.content }));
    } else {
      replace(template.content);
    }
  };

  const end = () => {
    over = true;
    window.clearInterval(poll);
    poll = 0;
    if (source) source.close();
    tell();
  };

  const refresh = async () => {
    // Nothing moves under a finger that is pressing, nor while it is held still.
    if (busy || pressed || paused || over) {
      again = true;
      return;
    }
    busy = true;
    again = false;
    try {
      const answer = await fetch(part, {
        headers: { "if-none-match": `"${seen}"` },
        redirect: "manual",
        cache: "no-store",
      });
      if (answer.type === "opaqueredirect") {
        end();
      } else if (answer.status === 200) {
        const html = await answer.text();
        if (pressed || paused) {
          again = true;
        } else {
          seen = (answer.headers.get("etag") ?? "").replaceAll('"', "");
          put(html);
        }
      }
    } catch {
      // The server is away; the next turn asks again.
    }
    busy = false;
    if (again && !pressed && !paused) refresh();
  };

  const polling = (on) => {
    if (over || on === poll > 0) return;
    window.clearInterval(poll);
    poll = on ? window.setInterval(refresh, POLL_MS) : 0;
    tell();
  };

  const open = () => {
    if (over) return;
    if (!window.EventSource) {
      polling(true);
      return;
    }
    source = new EventSource(`/live?of=${region.dataset.live}&seen=${seen}`);
    source.addEventListener("open", () => {
      polling(false);
      tell();
    });
    source.addEventListener("changed", refresh);
    source.addEventListener("over", end);
    source.addEventListener("error", () => {
      polling(true);
      // A broken stream is opened again by the browser; one that was refused is not.
      if (source.readyState === EventSource.CLOSED) window.setTimeout(open, AGAIN_MS);
    });
  };

  hold.addEventListener("click", () => {
    paused = !paused;
    tell();
    if (!paused) refresh();
  });
  window.addEventListener("pointerdown", () => {
    pressed = true;
  });
  for (const up of ["pointerup", "pointercancel", "blur"]) {
    window.addEventListener(up, () => {
      pressed = false;
      // After the click that this ends.
      if (again && !paused) window.setTimeout(refresh, 0);
    });
  }
  window.addEventListener("pagehide", () => source && source.close());
  tell();
  open();
}
