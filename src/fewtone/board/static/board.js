/* Makes the pages live: what a link or a form would load anew is put in place, what is counted down or
   ticked off is remembered. Without it the pages work as they are. */
"use strict";
(() => {
  const main = () => document.getElementById("main");
  const say = (words) => { document.getElementById("said").textContent = words; };
  let asked = 0;
  let polling = 0;

  /* A page of the board, put in place of this one; the browser loads it where that cannot be done. */
  async function show(address, remember) {
    const own = ++asked;
    main().setAttribute("aria-busy", "true");
    let found;
    try {
      const answer = await fetch(address, { credentials: "same-origin" });
      const kind = answer.headers.get("content-type") || "";
      found = kind.startsWith("text/html") && answer.headers.get("content-security-policy")?.includes("script-src 'self'")
        ? new DOMParser().parseFromString(await answer.text(), "text/html") : null;
      address = answer.url;
    } catch {
      found = null;
    }
    if (own !== asked) return;
    if (!found || !found.getElementById("main")) {
      location.assign(address);
      return;
    }
    const at = document.activeElement && document.activeElement.id;
    const inside = at && main().contains(document.activeElement);
    const opened = [...main().querySelectorAll("details")].map((one) => one.open);
    main().replaceWith(document.adoptNode(found.getElementById("main")));
    for (const part of ["header.top", "footer"]) {
      const now = document.querySelector(part), then = found.querySelector(part);
      if (now && then) now.replaceWith(document.adoptNode(then));
    }
    const details = [...main().querySelectorAll("details")];
    if (details.length === opened.length) details.forEach((one, place) => { one.open = opened[place]; });
    document.title = found.title;
    if (remember) history.pushState(null, "", address);
    begin();
    const again = inside && document.getElementById(at);
    if (again) again.focus({ preventScroll: true });
    else if (inside) main().focus({ preventScroll: true });
    const faults = document.querySelector(".faults");
    if (faults) faults.scrollIntoView({ block: "nearest" });
    else if (main().dataset.say) say(main().dataset.say);
  }

  /* What a page needs once it stands. */
  function begin() {
    clearTimeout(polling);
    if (main().dataset.poll) {
      polling = setTimeout(() => show(location.href, false), Number(main().dataset.poll));
    }
    document.querySelectorAll(".timer").forEach(timer);
    document.querySelectorAll("textarea[data-file]").forEach(file);
    ticks();
  }

  /* Amounts that were poured stay ticked until the page is closed. */
  function ticks() {
    const boxes = [...document.querySelectorAll(".poured")];
    const count = document.getElementById("count");
    if (!boxes.length || !count) return;
    const key = "poured " + location.pathname + location.search;
    const kept = (sessionStorage.getItem(key) || "").split(" ");
    const tell = () => {
      const done = boxes.filter((box) => box.checked).length;
      count.textContent = done === boxes.length ? "All is poured: stir it." : done ? `${done} of ${boxes.length} poured.` : "";
    };
    boxes.forEach((box, place) => {
      box.checked = kept.includes(String(place));
      box.addEventListener("change", () => {
        const on = boxes.flatMap((one, at) => (one.checked ? [at] : []));
        sessionStorage.setItem(key, on.join(" "));
        tell();
      });
    });
    tell();
  }

  /* A file of this device fills a field with its text: what is sent is what stands there. */
  function file(area) {
    if (area.dataset.ready) return;
    area.dataset.ready = "yes";
    const row = document.createElement("p"), label = document.createElement("label");
    const choose = document.createElement("input");
    choose.type = "file";
    choose.id = `${area.id}-file`;
    label.htmlFor = choose.id;
    label.textContent = area.dataset.file;
    choose.addEventListener("change", async () => {
      if (!choose.files.length) return;
      const bytes = new Uint8Array(await choose.files[0].arrayBuffer());
      const wide = bytes[0] === 0xff && bytes[1] === 0xfe ? "utf-16le" : bytes[0] === 0xfe && bytes[1] === 0xff ? "utf-16be" : "utf-8";
      area.value = new TextDecoder(wide).decode(bytes);
      typed = true;
      say(`${choose.files[0].name} stands in the field.`);
    });
    row.append(label, choose);
    area.closest("p").before(row);
  }

  function timer(box) {
    if (box.dataset.ready) return;
    box.dataset.ready = "yes";
    const whole = Number(box.dataset.seconds), name = box.dataset.name;
    const clock = document.createElement("p"), row = document.createElement("p");
    const go = document.createElement("button"), back = document.createElement("button");
    clock.className = "clock";
    clock.setAttribute("role", "timer");
    clock.setAttribute("aria-label", `${name}: time left`);
    row.className = "ways";
    go.type = back.type = "button";
    back.className = "quiet";
    back.textContent = "From the start";
    back.setAttribute("aria-label", `${name}: from the start`);
    let left = whole, ends = 0, ticking = 0;
    const draw = () => {
      const seconds = Math.max(0, Math.ceil(left));
      clock.textContent = `${Math.floor(seconds / 60)}:${String(seconds % 60).padStart(2, "0")}`;
      go.textContent = ticking ? "Pause" : left < whole ? "Go on" : `Start ${name.toLowerCase()}`;
      go.setAttribute("aria-label", `${name}: ${go.textContent.toLowerCase()}`);
    };
    const stop = () => { clearInterval(ticking); ticking = 0; };
    const step = () => {
      left = (ends - Date.now()) / 1000;
      if (left <= 0) {
        left = 0;
        stop();
        say(`${name}: the time is up.`);
      }
      draw();
    };
    go.addEventListener("click", () => {
      if (ticking) stop();
      else {
        if (left <= 0) left = whole;
        ends = Date.now() + 1000 * left;
        ticking = setInterval(step, 250);
      }
      draw();
    });
    back.addEventListener("click", () => { stop(); left = whole; draw(); });
    draw();
    row.append(go, back);
    box.append(clock, row);
  }

  document.addEventListener("click", (event) => {
    const link = event.target.closest("a[data-live]");
    if (!link || event.button || event.ctrlKey || event.metaKey || event.shiftKey || event.altKey) return;
    event.preventDefault();
    show(link.href, true);
  });
  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (form.hasAttribute("data-typed")) typed = false;
    if (!form.hasAttribute("data-live")) return;
    event.preventDefault();
    const fields = new FormData(form, event.submitter);
    const said = new URLSearchParams();
    for (const [name, value] of fields) if (value !== "") said.append(name, value);
    const address = new URL(form.action);
    address.search = said.toString();
    show(address.href, true);
  });
  let typed = false;
  document.addEventListener("input", (event) => {
    if (event.target.form && event.target.form.hasAttribute("data-typed")) typed = true;
  });
  window.addEventListener("beforeunload", (event) => { if (typed) event.preventDefault(); });
  window.addEventListener("popstate", () => show(location.href, false));
  begin();
})();
