// Scanning into a count. Without it codes go into the field, one a line, and the button records them; with it a scanner that
// types is heard wherever the focus is, each scan is answered at once, and what was scanned is recorded while one goes on.
"use strict";
const counting = document.querySelector("[data-counting]");
if (counting) {
  const { plain, isShaped, checks } = scanner;
  // So many, or nothing scanned for so long, and they are recorded.
  const SOME = 25;
  const QUIET = 8000;
  const field = counting.querySelector("#codes");
  const said = document.querySelector("[data-counting-said]");
  const tally = document.querySelector("[data-counting-tally]");
  const csrf = counting.querySelector("[name=csrf]").value;
  const of = counting.querySelector("[name=count]").value;
  const seen = new Set();
  let odd = 0;
  let recorded = 0;
  let sending = null;
  let timer = 0;

  // What stands behind the last end of a line is still being typed, by a hand or by the scanner.
  const parts = () => {
    const all = field.value.split("\n");
    const tail = all.pop();
    return { whole: all.map((line) => line.trim()).filter((line) => line !== ""), tail };
  };
  const put = (whole, tail) => {
    field.value = whole.map((line) => `${line}\n`).join("") + tail;
    field.scrollTop = field.scrollHeight;
  };
  const waiting = () => parts().whole.length + (parts().tail.trim() === "" ? 0 : 1);

  // What is wrong is heard too: whoever scans looks at the shelf.
  let sound = null;
  const tone = () => {
    try {
      sound = sound || new AudioContext();
      const low = sound.createOscillator();
      const quiet = sound.createGain();
      low.type = "square";
      low.frequency.value = 196;
      quiet.gain.value = 0.08;
      low.connect(quiet).connect(sound.destination);
      low.start();
      low.stop(sound.currentTime + 0.35);
    } catch {
      // No sound here; the words say it.
    }
  };

  const say = (text, wrong) => {
    said.textContent = text;
    said.classList.toggle("attention", wrong);
    if (wrong) tone();
  };
  const total = () => {
    const words = [`${seen.size} scanned here`, `${recorded} recorded`];
    if (waiting() > 0) words.push(`${waiting()} to be recorded`);
    if (odd > 0) words.push(`${odd} that need a look`);
    tally.textContent = words.join(", ");
  };

  const add = (text) => {
    const code = plain(text);
    if (seen.has(code)) {
      say(`${text}: scanned before.`, true);
      return;
    }
    const shaped = isShaped(code);
    if (shaped && !checks(code)) {
      // Not kept: scanned once more it is right.
      odd += 1;
      say(`${text}: misread. Scan it once more.`, true);
      total();
      return;
    }
    seen.add(code);
    const { whole, tail } = parts();
    put([...whole, text], tail);
    if (!shaped) {
      odd += 1;
      say(`${text}: no label of this ledger. Set it aside; it is recorded as found here.`, true);
    } else if (code[0] === "S") {
      odd += 1;
      say(`${text}: the label of a place, not of a thing.`, true);
    } else {
      say(`${seen.size}: ${text}`, false);
    }
    total();
    soon();
  };

  const identifier = () => {
    const bytes = crypto.getRandomValues(new Uint8Array(16));
    bytes[6] = (bytes[6] & 0x0f) | 0x40;
    bytes[8] = (bytes[8] & 0x3f) | 0x80;
    const hex = [...bytes].map((b) => b.toString(16).padStart(2, "0")).join("");
    return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join("-");
  };

  // The same command again until it is answered: it is carried out once.
  const record = async () => {
    window.clearTimeout(timer);
    if (sending && sending.running) return;
    if (!sending) {
      const codes = parts().whole.slice(0, Number(counting.dataset.counting));
      if (codes.length === 0) return;
      sending = { id: identifier(), codes };
    }
    sending.running = true;
    const { id, codes } = sending;
    try {
      const answer = await fetch("/api/commands", {
        method: "POST",
        headers: { "content-type": "application/json", "x-csrf-token": csrf },
        body: JSON.stringify({ command: { id, act: { do: "scan-codes", count: of, codes } } }),
      });
      if (!answer.ok) {
        const problem = await answer.json().catch(() => ({}));
        throw new Error(problem.detail || `the server answered ${answer.status}`);
      }
      const { whole, tail } = parts();
      put(whole.slice(codes.length), tail);
      recorded += codes.length;
      sending = null;
      total();
      if (parts().whole.length > 0) soon();
    } catch (error) {
      sending.running = false;
      say(`Not recorded yet (${error.message}). What was scanned stays in the field; the button records it.`, true);
      timer = window.setTimeout(record, QUIET);
    }
  };
  const soon = () => {
    window.clearTimeout(timer);
    if (parts().whole.length >= SOME) record();
    else timer = window.setTimeout(record, QUIET);
  };

  scanner.listen(({ keys, isFast, at, putBack }) => {
    const text = keys.trim();
    if (text.length < scanner.SHORTEST || !isFast) return false;
    // In the field itself something may have been recorded, and so be gone, since the first of the keys.
    const { whole, tail } = parts();
    if (at === field && tail.endsWith(keys)) put(whole, tail.slice(0, -keys.length));
    else putBack();
    add(text.slice(0, 100));
    return true;
  });
  // Whoever ends the count has everything recorded first.
  counting.querySelector("a[href^='/do/end-count']").addEventListener("click", async (event) => {
    if (waiting() === 0) return;
    event.preventDefault();
    const href = event.currentTarget.href;
    const { whole, tail } = parts();
    put(tail.trim() === "" ? whole : [...whole, tail.trim()], "");
    // What is under way is answered first, then what came since.
    for (let round = 0; round < 100 && waiting() > 0; round += 1) {
      if (sending && sending.running) await new Promise((again) => window.setTimeout(again, 100));
      else if (round > 0 && sending) return;
      else await record();
    }
    if (waiting() === 0) window.location.assign(href);
  });
  window.addEventListener("beforeunload", (event) => {
    if (waiting() > 0 && !counting.dataset.sent) event.preventDefault();
  });
  total();
}
