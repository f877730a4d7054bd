/* A form of something that is kept already saves itself when a field is left. No field of it is ever swapped: the page
   that comes back gives its sentences, what is to mend at which field, and all that stands outside the forms. */
(() => {
  "use strict";
  const LEFT_MS = 250;
  const STILL_HERE = "What you typed is still here.";
  const BY_SCRIPT = { "HX-Request": "true" };
  const page = `${Date.now().toString(36)}-${Math.random().toString(36).slice(2)}`;
  const changed = new Set();
  let timer = 0;
  let sending = null;
  let refused = false;
  let pressed = null;
  const all = (where, what) => [...where.querySelectorAll(what)];

  const say = (form, sentence) => { form.querySelector(".kept").textContent = sentence; };
  const bodyOf = (form) => {
    const body = new URLSearchParams(new FormData(form));
    body.set("left", page);
    return body;
  };

  /* What is to mend stands at its field; the field itself, with the caret in it, stays as it is. */
  const mark = (form, fresh) => {
    for (const box of all(form, ".field")) {
      const control = box.matches("fieldset") ? box : box.querySelector("input, select");
      const twin = fresh.getElementById(control.id);
      if (!twin) continue;
      for (const old of all(box, ":scope > .error, :scope > .readings")) old.remove();
      const from = twin.closest(".field");
      box.append(...all(from, ":scope > .error, :scope > .readings").map((one) => document.adoptNode(one)));
      for (const name of ["aria-invalid", "aria-describedby"]) {
        if (twin.hasAttribute(name)) control.setAttribute(name, twin.getAttribute(name));
        else control.removeAttribute(name);
      }
      if (twin.hasAttribute("aria-invalid")) box.closest("details:not([open])")?.setAttribute("open", "");
    }
  };
  const unmark = (form) => {
    for (const one of all(form, ".error, .readings")) one.remove();
    for (const one of all(form, "[aria-invalid]")) {
      one.removeAttribute("aria-invalid");
      one.setAttribute("aria-describedby", (one.getAttribute("aria-describedby") ?? "").split(" ").filter((id) => !id.endsWith("-error")).join(" "));
    }
    document.querySelector(".summary")?.remove();
    document.title = document.title.replace(/^Error: /, "");
  };

  const REACHED = "a, button, summary, input, select";
  const renew = (fresh, made) => {
    for (const old of all(document, "[data-fresh]")) {
      const next = fresh.getElementById(old.id);
      if (!next) continue;
      const at = all(old, REACHED).indexOf(document.activeElement);
      const unfolded = all(old, "details").map((one) => one.open);
      all(next, "details").forEach((one, i) => { if (i < unfolded.length) one.open = unfolded[i]; });
      old.replaceWith(document.adoptNode(next));
      if (at >= 0) all(next, REACHED)[at]?.focus();
    }
    const [revision, hash] = made.split("-");
    for (const mine of all(document, "input[name=revision]")) mine.value = revision;
    for (const mine of all(document, "input[name=mark]")) mine.value = hash;
    document.dispatchEvent(new Event("greyspell:renewed"));
  };

  const stands = (form, fresh) => {
    refused = true;
    const both = fresh.querySelector(".meanwhile");
    const why = fresh.querySelector(".summary li");
    say(form, `Not saved. ${why ? why.textContent : "It was saved elsewhere meanwhile."}`);
    const revision = fresh.querySelector(`#${CSS.escape(form.id)} input[name=revision]`);
    if (!both || !revision) return;
    for (const name of ["revision", "mark"]) {
      form.querySelector(`input[name=${name}]`).value = fresh.querySelector(`#${CSS.escape(form.id)} input[name=${name}]`).value;
    }
    form.before(document.adoptNode(both));
  };

  const came = (form, status, html, made, inWords) => {
    const fresh = new DOMParser().parseFromString(html, "text/html");
    const kept = status === 200 && made && fresh.getElementById("saved");
    if (kept) {
      unmark(form);
      renew(fresh, made);
      say(form, document.querySelector("#saved p").textContent);
    } else if (status === 422) {
      mark(form, fresh);
      const count = all(form, ".error").length;
      say(form, count ? `Not saved yet: ${count === 1 ? "one thing" : `${count} things`} to mend.` : fresh.querySelector(".summary li")?.textContent ?? "Not saved.");
    } else if (status === 409) {
      stands(form, fresh);
    } else {
      const why = inWords ? html : fresh.querySelector("main p:not(#trouble, :empty)")?.textContent;
      say(form, `Not saved: ${why ?? `Greyspell answered with status ${status}.`} ${inWords ? "" : STILL_HERE}`);
    }
    return Boolean(kept);
  };

  const send = async (form) => {
    try {
      const answer = await fetch(form.action, { method: "POST", body: bodyOf(form), headers: BY_SCRIPT });
      const html = await answer.text();
      await pressed;
      const made = new URL(answer.url).searchParams.get("kept");
      return came(form, answer.status, html, made, answer.headers.get("content-type")?.startsWith("text/plain"));
    } catch {
      say(form, `Not saved: Greyspell does not answer; see that it still runs. ${STILL_HERE}`);
      return false;
    }
  };

  /* Sends what waits, one after the other; true where all of it is saved. */
  const flush = async () => {
    clearTimeout(timer);
    timer = 0;
    let kept = await sending ?? true;
    for (const form of [...changed]) {
      changed.delete(form);
      if (refused || !form.isConnected) continue;
      sending = send(form);
      kept = await sending && kept;
      sending = null;
    }
    return kept && !refused;
  };
  const waits = () => timer || sending;

  document.addEventListener("change", ({ target }) => {
    const form = target.form;
    if (!form?.matches("[data-autosave]") || refused) return;
    changed.add(form);
    say(form, "Saving …");
    clearTimeout(timer);
    timer = setTimeout(flush, LEFT_MS);
  });

  /* A click is not lost to what is put in under it. */
  document.addEventListener("pointerdown", () => {
    pressed = new Promise((done) => {
      for (const kind of ["pointerup", "pointercancel"]) window.addEventListener(kind, () => setTimeout(done), { once: true });
    });
  }, true);

  /* A button that was put in anew meanwhile is pressed in its new place. */
  const asks = (form) => {
    const said = new URLSearchParams(new FormData(form));
    for (const name of ["revision", "mark"]) said.delete(name);
    return `${form.action}?${said}`;
  };
  const standing = (form) => form.isConnected ? form : all(document, "form").find((one) => asks(one) === asks(form));

  /* A button or a link goes after what is still being saved, so that it starts from what stands then. */
  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (form.method !== "post") return;
    if (form.matches("[data-autosave]")) changed.delete(form);
    if (!changed.size) { clearTimeout(timer); timer = 0; }
    if (!waits()) return;
    event.preventDefault();
    event.stopPropagation();
    const by = event.submitter;
    flush().then((kept) => { if (kept) standing(form)?.requestSubmit(by?.isConnected ? by : undefined); });
  }, true);
  document.addEventListener("click", (event) => {
    const link = event.target.closest?.("a[href]");
    if (!link || !waits() || event.button || event.ctrlKey || event.metaKey || event.shiftKey) return;
    if (link.origin !== location.origin || link.hash && link.pathname === location.pathname) return;
    event.preventDefault();
    flush().then((kept) => { if (kept) location.href = link.href; });
  });
  window.addEventListener("pagehide", () => {
    for (const form of changed) {
      if (!refused) fetch(form.action, { method: "POST", body: bodyOf(form), headers: BY_SCRIPT, keepalive: true });
    }
    changed.clear();
  });
})();
