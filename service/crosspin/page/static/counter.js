// Makes the counter quicker: swaps the answer in place, moves by keys, draws chains.  Everything works without it.
(() => {
  "use strict";
  const root = document.documentElement;
  const busy = document.getElementById("busy");
  const SVG = "http://www.w3.org/2000/svg";
  root.classList.add("scripted");

  const lines = () => [...document.querySelectorAll(".line")];
  const search = () => document.getElementById("q") || document.getElementById("vehicle-filter");
  const keysOn = () => { try { return localStorage.getItem("single-keys") !== "off"; } catch { return true; } };

  // ---------------------------------------------------------------- the answer in place
  // A link to another ask of this page swaps the page's content; the address changes with it.
  const toCounter = (link) => link.origin === location.origin && link.pathname === "/"
    && !link.target && !link.hasAttribute("download") && !link.hasAttribute("data-copy");
  let focusNext = null;

  const go = (address, focus) => {
    focusNext = focus;
    htmx.ajax("GET", address, { source: "#counter", target: "#main", select: "#counter", swap: "innerHTML show:none", push: address })
      .catch(() => {});
    history.scrollRestoration = "auto";
  };

  document.addEventListener("click", (event) => {
    const link = event.target.closest("a");
    if (!link || event.defaultPrevented || event.button !== 0 || event.metaKey || event.ctrlKey || event.shiftKey || event.altKey) return;
    if (link.hasAttribute("data-copy")) {
      event.preventDefault();
      const said = (words) => { link.textContent = words; };
      if (navigator.clipboard) navigator.clipboard.writeText(link.href).then(() => said("Copied"), () => said(link.href));
      else said(link.href);
    } else if (link.classList.contains("show")) {
      event.preventDefault();
      choose(link.closest(".line"));
      document.getElementById("drawing").scrollIntoView({ block: "nearest" });
    } else if (toCounter(link) && document.getElementById("counter") && link.search && !link.hash) {
      event.preventDefault();
      const line = link.closest(".line");
      go(link.pathname + link.search, line ? line.id : link.hasAttribute("data-offer") ? "q" : null);
    }
  });

  document.addEventListener("change", (event) => {
    if (event.target.matches("[data-goes]")) event.target.form.requestSubmit();
  });

  const working = new Set();
  document.addEventListener("htmx:beforeRequest", (event) => {
    if (event.detail.elt.id === "q") return;
    working.add(event.detail.xhr);
    const say = (text) => { if (working.size) { busy.textContent = text; busy.classList.add("working"); } };
    setTimeout(() => say("Working it out …"), 150);
    setTimeout(() => say("Still working; a large change takes a few seconds …"), 4000);
  });
  document.addEventListener("htmx:afterRequest", (event) => {
    working.delete(event.detail.xhr);
    if (working.size) return;
    busy.classList.remove("working");
    busy.textContent = event.detail.successful || event.detail.xhr.status ? "" : "The service does not answer. Is it running? Try again.";
  });
  document.addEventListener("htmx:afterSettle", () => {
    if (!focusNext) return;
    const wanted = document.getElementById(focusNext);
    focusNext = null;
    prepare();
    if (wanted) wanted.focus();
  });
  // What was found may be replaced while somebody walks through it: stay at the same offer.
  let walkedTo = null;
  document.addEventListener("htmx:beforeSwap", (event) => {
    const on = document.activeElement;
    walkedTo = event.detail.target.id === "found" && on && on.closest("#found") ? on.getAttribute("href") : null;
  });
  document.addEventListener("htmx:afterSwap", () => {
    prepare();
    if (walkedTo === null) return;
    const offers = [...document.querySelectorAll("#found [data-offer]")];
    const same = offers.find((offer) => offer.getAttribute("href") === walkedTo) || offers[0] || search();
    walkedTo = null;
    same.focus();
  });

  // ---------------------------------------------------------------- lines and their chains
  const prepare = () => {
    for (const line of lines()) line.tabIndex = 0;
    const box = document.getElementById("keys-on");
    if (box) box.checked = keysOn();
  };

  const middle = (mark) => { const b = mark.querySelector("path").getBBox(); return [b.x + b.width / 2, b.y + b.height / 2]; };

  const choose = (line) => {
    const chain = document.getElementById("chain");
    if (!line || !chain) return;
    for (const other of lines()) other.classList.toggle("chosen", other === line);
    const paths = line.dataset.chain.split(" ");
    const marks = paths.map((path) => document.querySelector(`.mark[data-path="${CSS.escape(path)}"]`)).filter(Boolean);
    for (const mark of document.querySelectorAll(".mark.here")) mark.classList.remove("here");
    for (const path of line.dataset.paths.split(" ")) {
      const mark = document.querySelector(`.mark[data-path="${CSS.escape(path)}"]`);
      if (mark) mark.classList.add("here");
    }
    chain.replaceChildren();
    const points = marks.map(middle);
    if (points.length > 1) {
      const drawn = document.createElementNS(SVG, "polyline");
      drawn.setAttribute("points", points.map((point) => point.join(",")).join(" "));
      chain.append(drawn);
    }
    points.forEach(([x, y], index) => {
      const dot = document.createElementNS(SVG, "circle");
      dot.setAttribute("cx", x); dot.setAttribute("cy", y); dot.setAttribute("r", index === points.length - 1 ? 6 : 4);
      chain.append(dot);
    });
    const words = document.getElementById("chain-words");
    if (words) words.textContent = paths.map((path) => path.replaceAll("/", " ").replaceAll("-", " ")).join(" ← ");
  };

  document.addEventListener("toggle", (event) => {
    if (event.target.matches(".why") && event.target.open) choose(event.target.closest(".line"));
  }, true);

  document.addEventListener("click", (event) => {
    const mark = event.target.closest(".mark[data-path]");
    if (!mark) return;
    const line = lines().find((one) => one.dataset.paths.split(" ").includes(mark.dataset.path));
    if (line) { line.focus(); choose(line); }
  });

  // ---------------------------------------------------------------- keys
  const step = (list, from, by) => {
    const at = list.indexOf(from);
    const next = list[at < 0 ? (by > 0 ? 0 : list.length - 1) : at + by];
    if (next) next.focus();
    return Boolean(next);
  };

  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const on = document.activeElement;
    const offers = () => [...document.querySelectorAll("#found [data-offer], #vehicle-list li:not([hidden]) a")];
    const typing = on && on.matches("input:not([type=checkbox]), textarea, select");
    if (event.key === "Escape") {
      if (typing) { on.blur(); return; }
      const line = on && on.closest(".line");
      if (line) { for (const open of line.querySelectorAll("details[open]")) open.open = false; line.focus(); }
      return;
    }
    if (event.key === "ArrowDown" || event.key === "ArrowUp") {
      const by = event.key === "ArrowDown" ? 1 : -1;
      if (on === search()) { if (by > 0 && step(offers(), null, 1)) event.preventDefault(); return; }
      if (on && offers().includes(on)) {
        if (!step(offers(), on, by) && by < 0) search().focus();
        event.preventDefault();
        return;
      }
      const line = on && on.closest(".line");
      if (line && step(lines(), line, by)) event.preventDefault();
      return;
    }
    if (typing || !keysOn()) return;
    const line = on && on.classList.contains("line") ? on : null;
    if (event.key === "/" && search()) { event.preventDefault(); search().focus(); search().select(); }
    else if (event.key === "?") { const keys = document.getElementById("keys"); keys.open = true; keys.querySelector("summary").focus(); }
    else if (event.key === "a" && lines().length) { event.preventDefault(); lines()[0].focus(); }
    else if (line && event.key === "w") { const why = line.querySelector(".why"); if (why) { why.open = !why.open; } choose(line); }
    else if (line && event.key === "o") { const others = line.querySelector(".others"); if (others) others.open = !others.open; }
    else if (line && /^[1-9]$/.test(event.key)) {
      const other = line.querySelectorAll(".other-list > li")[Number(event.key) - 1];
      const link = other && other.querySelector(".takes a");
      if (link) link.click();
    }
  });

  // ---------------------------------------------------------------- the list of vehicles, the keys' switch
  document.addEventListener("input", (event) => {
    if (event.target.id !== "vehicle-filter") return;
    const words = event.target.value.toLowerCase().split(/\s+/).filter(Boolean);
    let left = 0;
    for (const item of document.querySelectorAll("#vehicle-list li")) {
      const said = item.dataset.words.toLowerCase();
      item.hidden = !words.every((word) => said.includes(word));
      left += item.hidden ? 0 : 1;
    }
    document.getElementById("vehicle-none").hidden = left > 0;
  });
  document.addEventListener("change", (event) => {
    if (event.target.id !== "keys-on") return;
    try { localStorage.setItem("single-keys", event.target.checked ? "on" : "off"); } catch { /* not remembered */ }
  });

  prepare();
  const narrow = document.getElementById("vehicle-filter");
  if (narrow) narrow.focus();
  const chosen = document.querySelector(".line.chosen");
  if (chosen) choose(chosen);
})();
