// The intake counter. Without it a code goes into the scan field and the server brings its line up; with it a scanner that
// types is heard wherever the focus is, and nothing is sent before the button.
"use strict";
const counter = document.querySelector("[data-intake]");
if (counter) {
  const { plain } = scanner;
  const most = Number(counter.dataset.intake);
  const scanField = counter.querySelector("#scan");
  const lines = counter.querySelector("[data-intake-lines]");
  const blank = counter.querySelector("[data-intake-blank]");
  const said = counter.querySelector("[data-intake-said]");
  const tally = counter.querySelector("[data-intake-count]");
  let added = 0;

  const rows = () => [...lines.querySelectorAll("tr")];
  const say = (text) => {
    said.textContent = text;
  };
  const count = () => {
    const here = rows().filter((row) => row.querySelector("[name=what]").value !== "");
    tally.textContent = `${here.length} of ${rows().length}`;
  };

  const isCode = (code) => scanner.isShaped(code) && scanner.checks(code);

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

  // What is on its way now, from live.js: what came is added, what is gone goes where nothing was done with its line, and
  // everything that was typed stays.
  lines.addEventListener("live-lines", (event) => {
    const fresh = [...event.detail.querySelectorAll("tr")];
    const known = new Map(rows().map((row) => [plain(row.dataset.code), row]));
    const still = new Set(fresh.map((row) => plain(row.dataset.code)));
    let came = 0;
    let gone = 0;
    const kept = [];
    for (const row of fresh) {
      if (known.has(plain(row.dataset.code)) || rows().length >= most) continue;
      added += 1;
      for (const element of row.querySelectorAll("[id]")) element.id = `${element.name}-added-${added}`;
      for (const label of row.querySelectorAll("label")) label.htmlFor = label.nextElementSibling.id;
      lines.append(row);
      came += 1;
    }
    for (const [code, row] of known) {
      if (still.has(code) || !("listed" in row.dataset)) continue;
      const idle = [...row.querySelectorAll("select, input[type=text]")].every(
        (field) => field.name === "condition" || field.value === "",
      );
      if (idle && !row.contains(document.activeElement)) {
        row.remove();
        gone += 1;
      } else {
        kept.push(row.querySelector(".code").textContent);
      }
    }
    const nothing = counter.querySelector("[data-intake-empty]");
    if (nothing) nothing.hidden = rows().length > 0;
    count();
    const words = [];
    if (came > 0) words.push(`${came} more on the way to you.`);
    if (gone > 0) words.push(`${gone} no longer on the way to you.`);
    if (kept.length > 0) words.push(`${kept.join(", ")} is no longer on its way to you; look the lines through.`);
    if (words.length > 0) say(words.join(" "));
  });

  scanner.listen(({ event, keys, isFast, putBack }) => {
    const at = event.target;
    const writes = counter.contains(at) && /^(seal|note)$/.test(at.name || "");
    const known = rows().some((row) => plain(row.dataset.code) === plain(keys));
    if (keys.length >= scanner.SHORTEST && isFast && (!writes || known || isCode(plain(keys)))) {
      putBack();
      route(keys);
      return true;
    }
    if (at === scanField && scanField.value.trim() !== "") {
      const typed = scanField.value;
      scanField.value = "";
      route(typed);
      return true;
    }
    // A seal was read or scanned; the next thing comes.
    if (writes) scanField.focus();
    return writes;
  });
  counter.addEventListener("change", count);
  count();
}
