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

  const say = (form, ...parts) => { form.querySelector(".kept").replaceChildren(...parts); };

  /* How many stops and checks the page has now, and the first sentence of the gravest as a link: they may stand off the screen. */
  const counted = (count, name) => count ? [`${count === 1 ? "one" : count} ${name}${count === 1 ? "" : "s"}`] : [];
  const minded = () => {
    const box = document.querySelector("#notices, #answer[data-fresh]");
    const [stops, checks] = ["stop", "check"].map((level) => all(box ?? document.createElement("i"), `.note.${level} > p:first-child`));
    const said = [...counted(stops.length, "stop"), ...counted(checks.length, "check")].join(" and ");
    if (!said) return [];
    const link = document.createElement("a");
    link.href = `#${box.id}`;
    const text = [...stops, ...checks][0].textContent.replace(/^\s*(Stop|Check)\s*/, "");
    link.textContent = text.match(/^.*?[.](?=\s|$)/s)?.[0] ?? text;
    box.tabIndex = -1;
    return [`. ${said[0].toUpperCase()}${said.slice(1)} on this page now: `, link];
  };

  /* The field with the caret stays where it is on the screen while what stands above it grows, charts drawn later included. */
  const HELD_MS = 2000;
  let letGo = () => {};
  const hold = (element, change) => {
    letGo();
    const top = element.getBoundingClientRect().top;
    change();
    const held = () => (element.isConnected ? element : document.activeElement);
    const back = () => window.scrollBy({ top: held().getBoundingClientRect().top - top, behavior: "instant" });
    const watch = new ResizeObserver(back);
    const ends = ["keydown", "wheel", "pointerdown", "touchstart"];
    letGo = () => {
      watch.disconnect();
      for (const kind of ends) window.removeEventListener(kind, letGo, true);
    };
    for (const kind of ends) window.addEventListener(kind, letGo, true);
    setTimeout(letGo, HELD_MS);
    back();
    watch.observe(document.body);
  };
  const ABOUT = ["household", "revision", "mark"];
  const typedIn = (form) => String([...new FormData(form)].filter(([name]) => !ABOUT.includes(name)));
  const bodyOf = (form) => {
    const body = new URLSearchParams(new FormData(form));
    body.set("left", page);
    return body;
  };

  /* What is empty in a group that was not gone through yet is no fault so far: it is named as still to be typed. */
  const TYPED = "input:not([type=hidden], [type=file], [type=password]), select";
  const visited = new WeakSet();
  const groupOf = (control) => control.closest(".part") ?? control.form;
  const goneThrough = (group) => all(group, TYPED).every((one) => visited.has(one) || !one.checkVisibility());
  const isToCome = (control) => control.matches("input[type=text]") && !control.value.trim() && !goneThrough(groupOf(control));
  const labelOf = (control) => all(control.closest(".field"), "label")[0].firstChild.textContent.trim();

  /* What is to mend stands at its field; the field itself, with the caret in it, stays as it is. */
  const mark = (form, fresh) => {
    const toCome = [];
    for (const box of all(form, ".field")) {
      const control = box.matches("fieldset") ? box : box.querySelector("input, select");
      const twin = fresh.getElementById(control.id);
      if (!twin) continue;
      for (const old of all(box, ":scope > .error, :scope > .readings")) old.remove();
      const from = twin.closest(".field");
      if (twin.hasAttribute("aria-invalid") && isToCome(control)) {
        toCome.push(labelOf(control));
        twin.removeAttribute("aria-invalid");
      } else {
        box.append(...all(from, ":scope > .error, :scope > .readings").map((one) => document.adoptNode(one)));
      }
      for (const name of ["aria-invalid", "aria-describedby"]) {
        if (twin.hasAttribute(name)) control.setAttribute(name, twin.getAttribute(name));
        else control.removeAttribute(name);
      }
      if (twin.hasAttribute("aria-invalid")) box.closest("details:not([open])")?.setAttribute("open", "");
    }
    return toCome;
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
      if (at >= 0) all(next, REACHED)[at]?.focus({ preventScroll: true });
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

  const came = (form, typed, status, html, made, inWords) => {
    const fresh = new DOMParser().parseFromString(html, "text/html");
    const kept = status === 200 && made && fresh.getElementById("saved");
    const at = document.activeElement;
    if (kept) {
      hold(at && at !== document.body ? at : form, () => {
        unmark(form);
        form.removeAttribute("data-to-come");
        renew(fresh, made);
        say(form, document.querySelector("#saved p").textContent, ...minded());
      });
      if (typedIn(form) === typed) delete form.dataset.unsaved;
    } else if (status === 422) {
      const toCome = mark(form, fresh);
      const count = all(form, ".error").length;
      form.toggleAttribute("data-to-come", toCome.length > 0);
      if (toCome.length && !count) say(form, `Not saved yet. Still to be typed: ${toCome.join("; ")}.`);
      else say(form, count ? `Not saved yet: ${count === 1 ? "one thing" : `${count} things`} to mend.` : fresh.querySelector(".summary li")?.textContent ?? "Not saved.");
    } else if (status === 409) {
      stands(form, fresh);
    } else {
      const why = inWords ? html : fresh.querySelector("main p:not(#trouble, :empty)")?.textContent;
      say(form, `Not saved: ${why ?? `Greyspell answered with status ${status}.`} ${inWords ? "" : STILL_HERE}`);
    }
    return Boolean(kept);
  };

  const send = async (form) => {
    const typed = typedIn(form);
    try {
      const answer = await fetch(form.action, { method: "POST", body: bodyOf(form), headers: BY_SCRIPT });
      const html = await answer.text();
      await pressed;
      const made = new URL(answer.url).searchParams.get("kept");
      return came(form, typed, answer.status, html, made, answer.headers.get("content-type")?.startsWith("text/plain"));
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

  document.addEventListener("input", ({ target }) => {
    if (target.form?.matches("[data-autosave]")) target.form.dataset.unsaved = "";
  });
  const soon = (form) => {
    if (!form?.matches("[data-autosave]") || refused) return;
    changed.add(form);
    say(form, "Saving …");
    clearTimeout(timer);
    timer = setTimeout(flush, LEFT_MS);
  };
  document.addEventListener("change", ({ target }) => soon(target.form));
  document.addEventListener("focusout", ({ target }) => {
    visited.add(target);
    if (target.form?.matches("[data-to-come]") && goneThrough(groupOf(target))) soon(target.form);
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

  /* Leaving asks first where something typed would be lost: in a form to be added, or not saved yet. */
  const asOpened = (one) => {
    if (one.matches("[type=checkbox], [type=radio]")) return one.checked === one.defaultChecked;
    if (!one.matches("select")) return one.value === one.defaultValue;
    return one.selectedIndex === Math.max(0, [...one.options].findIndex((option) => option.defaultSelected));
  };
  const isUnsaved = (form) => {
    if (all(form, "[aria-invalid]").length) return true;
    if (form.matches("[data-autosave]")) return "unsaved" in form.dataset && (refused || !changed.has(form));
    return all(form, `${TYPED}, textarea`).some((one) => !asOpened(one));
  };
  let going = null;
  document.addEventListener("submit", (event) => { if (!event.defaultPrevented) going = event.target; });
  window.addEventListener("beforeunload", (event) => {
    if (all(document, "main form[method=post]").some((form) => form !== going && isUnsaved(form))) event.preventDefault();
    going = null;
  });
  window.addEventListener("pagehide", () => {
    for (const form of changed) {
      if (!refused) fetch(form.action, { method: "POST", body: bodyOf(form), headers: BY_SCRIPT, keepalive: true });
    }
    changed.clear();
  });
})();
