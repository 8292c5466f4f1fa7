// The field on top answers while somebody types. Without it, and for a scanner, Enter sends the form as ever: nothing is
// chosen until an arrow key or a pointer chooses it.
"use strict";
const findField = document.querySelector("form.find input[name=q]");
if (findField) {
  // Longer than a scanner's next key takes, so that a scanned code asks nothing; short enough for a hand not to wait.
  const QUIET_MS = 120;
  const form = findField.form;
  const list = document.createElement("ul");
  list.id = "find-list";
  list.className = "find-list";
  list.setAttribute("role", "listbox");
  list.setAttribute("aria-label", "Found");
  list.hidden = true;
  const said = document.createElement("p");
  said.className = "visually-hidden";
  said.setAttribute("role", "status");
  form.append(list, said);
  // A text field may be a combobox; the keyboard of a phone still says "search".
  findField.type = "text";
  findField.inputMode = "search";
  findField.enterKeyHint = "search";
  for (const [name, value] of [
    ["role", "combobox"],
    ["aria-autocomplete", "list"],
    ["aria-haspopup", "listbox"],
    ["aria-controls", list.id],
    ["aria-expanded", "false"],
  ]) {
    findField.setAttribute(name, value);
  }

  let wait = 0;
  let asking = null;
  let at = -1;
  const options = () => [...list.children];

  const choose = (n) => {
    at = n;
    options().forEach((option, i) => option.setAttribute("aria-selected", String(i === at)));
    const chosen = options()[at];
    if (chosen) {
      findField.setAttribute("aria-activedescendant", chosen.id);
      chosen.scrollIntoView({ block: "nearest" });
    } else {
      findField.removeAttribute("aria-activedescendant");
    }
  };

  const shut = () => {
    window.clearTimeout(wait);
    if (asking) asking.abort();
    asking = null;
    list.hidden = true;
    list.replaceChildren();
    findField.setAttribute("aria-expanded", "false");
    choose(-1);
  };

  const go = (option) => {
    const to = option.dataset.href;
    shut();
    window.location.assign(to);
  };

  const show = (found) => {
    list.replaceChildren(
      ...found.hits.map((hit, i) => {
        const option = document.createElement("li");
        option.id = `find-${i}`;
        option.setAttribute("role", "option");
        option.dataset.href = hit.address;
        const name = document.createElement("b");
        name.textContent = hit.name;
        const why = document.createElement("span");
        why.className = "hint";
        why.textContent = hit.why;
        option.append(name, ` ${hit.words} `, why);
        return option;
      }),
    );
    choose(-1);
    const none = found.hits.length === 0;
    list.hidden = none;
    findField.setAttribute("aria-expanded", String(!none));
    const more = found.more ? ", and more: type on, or press Enter for a longer list" : "";
    said.textContent = none ? "Nothing found" : `${found.hits.length} found${more}`;
  };

  const ask = async () => {
    const q = findField.value.trim();
    if (q === "") return;
    if (asking) asking.abort();
    const mine = new AbortController();
    asking = mine;
    try {
      const answer = await fetch(`/api/find/typed?q=${encodeURIComponent(q)}`, { signal: mine.signal });
      if (!answer.ok) return;
      const found = await answer.json();
      // What was typed since then asks for itself.
      if (asking === mine && document.activeElement === findField) show(found);
    } catch {
      // Aborted, or no way to the server: Enter still sends the form.
    }
  };

  findField.addEventListener("input", () => {
    window.clearTimeout(wait);
    if (findField.value.trim() === "") {
      shut();
      return;
    }
    choose(-1);
    wait = window.setTimeout(ask, QUIET_MS);
  });
  findField.addEventListener("keydown", (event) => {
    if (event.isComposing) return;
    const last = options().length - 1;
    if (event.key === "ArrowDown" && last >= 0) {
      event.preventDefault();
      choose(at >= last ? 0 : at + 1);
    } else if (event.key === "ArrowUp" && last >= 0) {
      event.preventDefault();
      choose(at <= 0 ? last : at - 1);
    } else if (event.key === "Escape" && !list.hidden) {
      event.preventDefault();
      shut();
    } else if (event.key === "Enter") {
      const chosen = options()[at];
      if (chosen) {
        event.preventDefault();
        go(chosen);
      } else {
        shut();
      }
    }
  });
  // A press on an option must not take the focus, or the list were gone before it is chosen.
  list.addEventListener("pointerdown", (event) => event.preventDefault());
  list.addEventListener("click", (event) => {
    const option = event.target.closest("[role=option]");
    if (option) go(option);
  });
  findField.addEventListener("blur", shut);
}
