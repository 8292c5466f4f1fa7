// Sends a form's file in parts before the form itself, so that a broken line costs a part and not the whole file. Without
// this script the form sends its file by itself.
"use strict";

const PART = 4 * 1024 * 1024;
const TRIES = 8;

for (const form of document.querySelectorAll("form[data-upload]")) {
  const picked = form.querySelector("input[type=file]");
  const said = form.querySelector("[data-upload-said]");
  const upload = form.elements.namedItem("upload");
  const headers = { "x-csrf-token": form.elements.namedItem("csrf").value };
  let busy = false;

  const say = (text) => {
    said.textContent = text;
  };
  const mb = (bytes) => `${(bytes / 1e6).toFixed(1)} MB`;

  class Refused extends Error {}

  // A refusal is said; anything else may be a broken line and is tried again.
  async function call(method, address, init) {
    const answer = await fetch(address, { method, headers, ...init });
    const type = answer.headers.get("content-type") || "";
    const body = type.includes("json") ? await answer.json() : {};
    if (answer.ok) return body;
    const text = body.detail ? `${body.detail} ${body.next}` : `The server answered ${answer.status}.`;
    if (body.code === "upload-offset" || body.code === "upload-busy") throw new Error(text);
    if (answer.status >= 400 && answer.status !== 408 && answer.status !== 503 && answer.status !== 400) {
      const refused = new Refused(text);
      refused.code = body.code;
      throw refused;
    }
    throw new Error(text);
  }

  const wait = (ms) => new Promise((done) => window.setTimeout(done, ms));
  const key = (file) => `upload ${file.name} ${file.size} ${file.lastModified}`;

  // The upload that this file was begun with on this page's tab, or a new one.
  async function begun(file) {
    const known = window.sessionStorage.getItem(key(file));
    if (known) {
      try {
        return await call("GET", `/api/uploads/${known}`);
      } catch (error) {
        if (!(error instanceof Refused)) throw error;
        window.sessionStorage.removeItem(key(file));
      }
    }
    const told = await call("POST", "/api/uploads", {
      headers: { ...headers, "content-type": "application/json" },
      body: JSON.stringify({ name: file.name, bytes: file.size }),
    });
    window.sessionStorage.setItem(key(file), told.id);
    return told;
  }

  async function send(file) {
    let told = null;
    for (let tries = 0; ; ) {
      try {
        told = told ? await call("GET", `/api/uploads/${told.id}`) : await begun(file);
        while (told.received < told.bytes) {
          say(`Sending: ${mb(told.received)} of ${mb(told.bytes)} are on the server.`);
          told = await call("PUT", `/api/uploads/${told.id}/bytes?offset=${told.received}`, {
            body: file.slice(told.received, told.received + PART),
          });
          tries = 0;
        }
        return told.id;
      } catch (error) {
        tries += 1;
        if (error instanceof Refused || tries > TRIES) throw error;
        const seconds = Math.min(2 ** tries, 30);
        say(`The line broke. What is on the server stays there; it goes on in ${seconds} seconds.`);
        await wait(seconds * 1000);
      }
    }
  }

  form.addEventListener("submit", async (event) => {
    const file = picked.files[0];
    if (!file || file.size === 0 || busy) {
      if (busy) event.preventDefault();
      return;
    }
    event.preventDefault();
    event.stopPropagation();
    busy = true;
    form.setAttribute("aria-busy", "true");
    try {
      upload.value = await send(file);
      window.sessionStorage.removeItem(key(file));
      say("The file is on the server. Recording it.");
      picked.disabled = true;
      busy = false;
      form.submit();
    } catch (error) {
      busy = false;
      say(`Not sent: ${error.message} Nothing was recorded, and the form is as it was: press the button to go on.`);
    }
    form.removeAttribute("aria-busy");
  });

  // Back from another page by the browser's own button: the file can be chosen again.
  window.addEventListener("pageshow", () => {
    picked.disabled = false;
  });
}
