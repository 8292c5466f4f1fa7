// Labels, and scanners that type them: for the pages that hear a scanner wherever the focus is.
"use strict";
const scanner = {
  // Fewer keys are no label.
  SHORTEST: 6,

  // A code as the server reads it: no spaces or hyphens, capitals, and no letters that look like digits in its body.
  plain(text) {
    const all = text.toUpperCase().replace(/[ -]/g, "");
    const body = all.slice(1, 11).replace(/O/g, "0").replace(/[IL]/g, "1");
    return all.slice(0, 1) + body + all.slice(11);
  },

  // Whether it looks like a code of this ledger.
  isShaped: (code) => /^[IPS][0-9A-Z]{11}$/.test(code),

  // ISO/IEC 7064 MOD 37-36 over the first eleven characters.
  checks(code) {
    let product = 36;
    for (const char of code.slice(0, 11)) {
      const sum = (product + parseInt(char, 36)) % 36 || 36;
      product = (sum * 2) % 37;
    }
    return parseInt(code[11], 36) === (37 - product) % 36;
  },

  // Calls `heard` at every Enter: with the event, the `keys` without a pause between them before it, whether Enter came as fast
  // (`isFast`), what had the focus at the first of them (`at`), and `putBack`, which makes that what it was: a scanner's keys go
  // into whatever has the focus, and do not belong there. Where `heard` gives back true, nothing else hears the Enter.
  listen(heard) {
    // As in script.js: a scanner types faster than any hand, and its last key is Enter.
    const FAST = 45;
    let burst = "";
    let last = 0;
    let at = null;
    let before = "";
    window.addEventListener(
      "keydown",
      (event) => {
        if (event.ctrlKey || event.altKey || event.metaKey || event.isComposing) {
          burst = "";
          return;
        }
        if (event.key !== "Enter") {
          if (event.key.length !== 1) {
            if (event.key !== "Shift") burst = "";
            return;
          }
          if (burst === "" || event.timeStamp - last > FAST) {
            burst = "";
            at = event.target;
            before = at.value;
          }
          burst = (burst + event.key).slice(-200);
          last = event.timeStamp;
          return;
        }
        const keys = burst;
        burst = "";
        const putBack = () => {
          if (at === event.target && /^(INPUT|SELECT|TEXTAREA)$/.test(at.tagName)) at.value = before;
        };
        if (heard({ event, keys, isFast: event.timeStamp - last <= FAST, at, putBack })) {
          event.preventDefault();
          event.stopImmediatePropagation();
        }
      },
      true,
    );
  },
};
