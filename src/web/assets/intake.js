// The intake counter. Without it a code goes into the scan field and the server brings its line up; with it a scanner that
// types is heard wherever the focus is, and nothing is sent before the button.
"use strict";
const counter = document.querySelector("[data-intake]");
if (counter) {
  // As in script.js: a scanner types faster than any hand, and its last key is Enter.
  const FAST = 45;
  const SHORTEST = 6;
  const most = Number(counter.dataset.intake);
  const scanField = counter.querySelector("#scan");
  const lines = counter.querySelector("[data-intake-lines]");
  const blank = counter.querySelector("[data-intake-blank]");
  const said = counter.querySelector("[data-intake-said]");
  const tally = counter.querySelector("[data-intake-count]");
  let burst = "";
  let last = 0;
  let field = null;
  let before = "";
  let added = 0;

  const rows = () => [...lines.querySelectorAll("tr")];
  const say = (text) => {
    said.textContent = text;
  };
  const count = () => {
    const here = rows().filter((row) => row.querySelector("[name=what]").value !== "");
    tally.textContent = `${here.length} of ${rows().length}`;
  };

  // A code as the server reads it: no spaces or hyphens, capitals, and no letters that look like digits in its body.
  const plain = (text) => {
    const all = text.toUpperCase().replace(/[ -]/g, "");
    const body = all.slice(1, 11).replace(/O/g, "0").replace(/[IL]/g, "1");
    return all.slice(0, 1) + body + all.slice(11);
  };

  // ISO/IEC 7064 MOD 37-36 over the first eleven characters.
  const isCode = (code) => {
    if (!/^[IPS][0-9A-Z]{11}$/.test(code)) return false;
    let product = 36;
    for (const char of code.slice(0, 11)) {
      const sum = (product + parseInt(char, 36)) % 36 || 36;
      product = (sum * 2) % 37;
    }
    return parseInt(code[11], 36) === (37 - product) % 36;
  };

  const toLine = (row) => {
    const what = row.querySelector("[name=what]");
    const seal = row.querySelector("[name=seal]");
    const again = what.value !== "" && seal.value !== "";
    if (what.value === "") what.value = "receive";
    count();
    row.scrollIntoView({ block: "center" });
    seal.focus();
    seal.select();
    const code = row.querySelector(".code").textContent;
    say(again ? `${code} stands at the counter already.` : `${code} is at the counter: read its seal.`);
  };

  const add = (text) => {
    if (rows().length >= most) {
      say(`The form holds ${most} lines; sign for these first.`);
      return;
    }
    const row = blank.content.querySelector("tr").cloneNode(true);
    added += 1;
    for (const element of row.querySelectorAll("[id]")) element.id = `${element.name}-added-${added}`;
    for (const label of row.querySelectorAll("label")) {
      label.htmlFor = label.nextElementSibling.id;
      label.append(text);
    }
    row.dataset.code = text;
    row.querySelector(".code").textContent = text;
    row.querySelector("[name=code]").value = text;
    lines.append(row);
    toLine(row);
    say(`${text} is not among what is on its way to you. Its line says why when the lines are looked through.`);
  };

  const route = (text) => {
    const code = plain(text);
    const row = rows().find((r) => plain(r.dataset.code) === code);
    if (row) toLine(row);
    else add(text.trim().slice(0, 100));
  };

  window.addEventListener(
    "keydown",
    (event) => {
      if (event.ctrlKey || event.altKey || event.metaKey || event.isComposing) {
        burst = "";
        return;
      }
      const at = event.target;
      if (event.key !== "Enter") {
        if (event.key.length !== 1) {
          if (event.key !== "Shift") burst = "";
          return;
        }
        if (burst === "" || event.timeStamp - last > FAST) {
          burst = "";
          field = at;
          before = at.value;
        }
        burst = (burst + event.key).slice(-200);
        last = event.timeStamp;
        return;
      }
      const text = burst;
      const fast = text.length >= SHORTEST && event.timeStamp - last <= FAST;
      burst = "";
      const writes = counter.contains(at) && /^(seal|note)$/.test(at.name || "");
      const known = rows().some((row) => plain(row.dataset.code) === plain(text));
      let taken = false;
      if (fast && (!writes || known || isCode(plain(text)))) {
        // The scanner's keys went into whatever had the focus; they did not belong there.
        if (field === at && /^(INPUT|SELECT|TEXTAREA)$/.test(at.tagName)) at.value = before;
        route(text);
        taken = true;
      } else if (at === scanField && scanField.value.trim() !== "") {
        const typed = scanField.value;
        scanField.value = "";
        route(typed);
        taken = true;
      } else if (writes) {
        // A seal was read or scanned; the next thing comes.
        scanField.focus();
        taken = true;
      }
      if (taken) {
        event.preventDefault();
        event.stopImmediatePropagation();
      }
    },
    true,
  );
  counter.addEventListener("change", count);
  count();
}
