"use strict";
(() => {
  const all = (what, from = document) => Array.from(from.querySelectorAll(what));
  const one = (what, from = document) => from.querySelector(what);
  const data = JSON.parse(one("#data").textContent);
  const root = document.documentElement, panel = one("#panel"), body = one("#panel .body"), stage = one(".stage");
  let chosen = "", opener = null;

  // Light or dark: the reader's system until the switch is used; kept where the browser lets us.
  const kept = { get() { try { return localStorage.getItem("ventwise-theme"); } catch { return null; } },
                 set(v) { try { localStorage.setItem("ventwise-theme", v); } catch { /* a file may not keep anything */ } } };
  if (kept.get()) root.dataset.theme = kept.get();
  one("#theme").addEventListener("click", () => {
    const dark = root.dataset.theme ? root.dataset.theme === "dark" : matchMedia("(prefers-color-scheme: dark)").matches;
    root.dataset.theme = dark ? "light" : "dark";
    kept.set(root.dataset.theme);
  });
  one("#print").addEventListener("click", () => print());

  // Sound: eight bits a sample on a logarithmic scale, as telephones have it (ITU-T G.711, mu-law).
  let context = null, playing = null;
  const stop = () => {
    if (!playing) return;
    playing.source.onended = null;
    playing.source.stop();
    playing.button.textContent = playing.label;
    playing.button.setAttribute("aria-pressed", "false");
    playing = null;
  };
  const play = (button) => {
    const again = playing && playing.button === button;
    stop();
    if (again) return;
    const sound = data.sounds[button.dataset.play];
    const bytes = atob(sound.mulaw);
    context = context || new AudioContext();
    context.resume();
    const buffer = context.createBuffer(1, bytes.length, sound.rate), into = buffer.getChannelData(0);
    for (let i = 0; i < bytes.length; i++) {
      const u = ~bytes.charCodeAt(i) & 255, size = (((u & 15) << 3) + 132 << (u >> 4 & 7)) - 132;
      into[i] = (u & 128 ? -size : size) / 32768;
    }
    const source = context.createBufferSource();
    source.buffer = buffer;
    source.connect(context.destination);
    playing = { source, button, label: button.textContent };
    source.onended = stop;
    source.start();
    button.textContent = data.stop;
    button.setAttribute("aria-pressed", "true");
    root.dataset.played = String(Number(root.dataset.played || 0) + 1);
  };

  // The panel beside the music.
  const shown = () => data.order.filter((d) => !data.demands[d].hidden);
  const choose = (demand, focus = true) => {
    const found = data.demands[demand];
    if (!found) return;
    if (panel.hidden) opener = document.activeElement;
    chosen = demand;
    const card = one("#" + found.entry).cloneNode(true);
    card.removeAttribute("id");
    card.hidden = false;
    for (const li of all("[data-of]", card)) {
      li.hidden = !li.dataset.of.split(" ").includes(demand);
      for (const where of all("b", li)) where.remove();
    }
    all(".chart[data-chart]", card).forEach(chart);
    const flute = one("#flute") ? one("#flute").value : "";
    for (const answer of all(".answer", card)) answer.hidden = Boolean(flute) && answer.dataset.flute !== flute;
    if (all(".answer", card).every((answer) => answer.hidden)) all(".answer", card)[0].hidden = false;
    body.replaceChildren(card);
    one("#panel .where").textContent = found.place;
    panel.hidden = false;
    stage.classList.add("open");
    for (const each of all(".chosen")) each.classList.remove("chosen");
    for (const each of all(`[data-d="${demand}"]`)) each.classList.add("chosen");
    const seen = all(`.note[data-d="${demand}"],.chord[data-d="${demand}"]`).find((g) => g.getClientRects().length);
    if (seen) seen.scrollIntoView({ block: innerWidth < 1100 ? "start" : "center", behavior: "auto" });
    if (seen && innerWidth < 1100) scrollBy(0, -Math.min(160, innerHeight * .15));
    if (focus) one("#panel .where").focus({ preventScroll: true });
  };
  const close = () => {
    panel.hidden = true;
    stage.classList.remove("open");
    for (const each of all(".chosen")) each.classList.remove("chosen");
    if (opener && opener.isConnected) opener.focus({ preventScroll: true });
  };
  const step = (by) => {
    const list = shown(), at = list.indexOf(chosen);
    if (list.length) choose(list[(at + by + list.length) % list.length]);
  };
  document.addEventListener("click", (event) => {
    const target = event.target;
    const playButton = target.closest("[data-play]"), go = target.closest("[data-go]"), marked = target.closest("[data-d]");
    if (playButton) play(playButton);
    else if (target.closest(".copy")) copy(target.closest(".copy"));
    else if (go) choose(go.dataset.go);
    else if (marked) choose(marked.dataset.d);
    else if (target.closest("#close")) close();
    else if (target.closest("#previous")) step(-1);
    else if (target.closest("#next")) step(1);
  });
  document.addEventListener("keydown", (event) => {
    const marked = event.target.closest("g[data-d]");
    if (marked && (event.key === "Enter" || event.key === " ")) { event.preventDefault(); choose(marked.dataset.d); }
    else if (panel.hidden || event.target.closest("input,select,pre")) return;
    else if (event.key === "Escape") close();
    else if (event.key === "ArrowRight") step(1);
    else if (event.key === "ArrowLeft") step(-1);
  });
  const copy = async (button) => {
    const text = one("pre", button.parentElement);
    const range = document.createRange();
    range.selectNodeContents(text);
    getSelection().removeAllRanges();
    getSelection().addRange(range);
    try { await navigator.clipboard.writeText(text.textContent); } catch { try { document.execCommand("copy"); } catch { return; } }
    const label = button.textContent;
    button.textContent = button.dataset.done;
    setTimeout(() => { button.textContent = label; }, 1500);
  };

  // Filters. Notes and drawings of each demand are looked up once, when they are first needed.
  let groups = null;
  const groupsOf = (name) => {
    if (!groups) {
      groups = new Map();
      for (const each of all("[data-d]")) {
        if (!groups.has(each.dataset.d)) groups.set(each.dataset.d, []);
        groups.get(each.dataset.d).push(each);
      }
    }
    return groups.get(name) || [];
  };
  const svg = (name, attributes, text = "") => {
    const made = document.createElementNS("http://www.w3.org/2000/svg", name);
    for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
    made.textContent = text;
    return made;
  };

  // Charts, drawn when they come into view: numbers become lines and fields.
  const chart = (box) => {
    const told = data.charts[box.dataset.chart];
    if (box.firstChild || !told) return;
    const left = 34, wide = 298, top = 16, high = box.viewBox.baseVal.height - 36, foot = top + high;
    const text = (x, y, what, anchor = "start") => svg("text", { x, y, "text-anchor": anchor }, what);
    const along = (value, [low, up]) => left + wide * Math.log(value / low) / Math.log(up / low);
    const grid = (x, what) => [svg("path", { d: `M${x} ${top}V${foot}`, "class": "grid" }), text(x, foot + 12, what, "middle")];
    const made = [];
    if (box.dataset.kind === "curve") {
      const ends = [told.low, told.high];
      for (const hz of [125, 250, 500, 1000, 2000, 4000]) if (hz > ends[0] && hz < ends[1]) made.push(...grid(along(hz, ends), hz));
      for (const db of [0, 20, 40, 60]) made.push(text(left - 4, top + high * db / 70 + 3, -db, "end"));
      const points = told.levels.map((db, n) => `${(left + wide * n / (told.levels.length - 1)).toFixed(1)},${top + high * db / 140}`);
      made.push(svg("polyline", { points: points.join(" "), "class": "curve" }));
      told.tones.forEach(([name, hz], n) => {
        const x = along(hz, ends);
        made.push(svg("path", { d: `M${x} ${top}V${foot}`, "class": `target tone${n + 1}` }), text(x, top - 4, name, "middle"));
      });
      made.push(text(along(1414, ends), foot + 12, "Hz", "middle"), text(2, top - 4, "dB"));
    } else {
      const rows = told.map.length, columns = told.map[0].length, w = wide / columns, h = high / rows, paths = {};
      told.map.forEach((signs, row) => Array.from(signs).forEach((sign, n) => {
        if (sign !== " ") paths[sign] = (paths[sign] || "") + `M${left + n * w} ${foot - (row + 1) * h}h${w}v${h}h${-w}z`;
      }));
      for (const [sign, d] of Object.entries(paths))
        made.push(svg("path", { d, "class": "field " + ({ p: "pair", o: "other" }[sign] || "tone" + sign) }));
      const at = (speed) => left + w / 2 + (along(speed, told.speeds) - left) * (columns - 1) / columns;
      for (const speed of [10, 20, 40, 80]) made.push(...grid(at(speed), speed));
      for (const mm of [5, 6, 7, 8])
        made.push(text(left - 4, foot - h / 2 - (mm - told.mm[0]) / (told.mm[1] - told.mm[0]) * (rows - 1) * h + 3, mm, "end"));
      made.push(text(at(56.6), foot + 12, "m/s", "middle"), text(2, top - 4, "mm"));
    }
    box.append(...made);
  };
  const inView = new IntersectionObserver((seen) => {
    for (const each of seen) if (each.isIntersecting) { all(".chart[data-chart]", each.target).forEach(chart); inView.unobserve(each.target); }
  }, { rootMargin: "600px" });
  for (const card of all(".cards .card")) inView.observe(card);
  addEventListener("beforeprint", () => all(".chart[data-chart]").forEach(chart));

  // What stands above the notes, for another flute: words over a drawing, at the bottom of the room kept for them.
  const drawAbove = (flute) => {
    const own = data.above.flutes[flute], unit = data.above.unit, size = data.above.size;
    if (!own || root.dataset.above === flute) return;
    root.dataset.above = flute;
    one("#above-for").textContent = data.above.told[flute];
    for (const room of all(".vw-room")) {
      const mark = one(".mark", room), [words, name, wide, scale, high, noted] = own[room.dataset.note] || [[], "", 0, 0, 0, 0];
      const x = Number(mark.getAttribute("x")) + mark.getAttribute("width") / 2;
      const top = Number(mark.getAttribute("y")) + Number(mark.getAttribute("height")) - high * unit;
      const made = words.map((text, row) => svg("text", { x, y: top + size * (.8 + 1.15 * row), "text-anchor": "middle",
        "font-size": size, "class": "vw-note", [row < noted ? "font-style" : "font-weight"]: row < noted ? "italic" : "bold" }, text));
      if (name) made.push(svg("use", { href: "#" + name,
        transform: `translate(${x - wide * unit / 2} ${top + words.length * size * 1.15}) scale(${scale * unit})` }));
      room.replaceChildren(mark, ...made);
    }
  };
  const tell = (count) => { one("#count").textContent = (count === 1 ? data.shown[0] : data.shown[1]).replace("{n}", count); };
  const form = one("form.filters");
  const narrow = matchMedia("(max-width: 699px)"), fold = () => { one("#fold").open = !narrow.matches; };
  fold();
  narrow.addEventListener("change", fold);
  const filter = () => {
    const statuses = new Set(all("input[name=status]:checked", form).map((box) => box.value));
    const from = Number(one("#from").value || -1), to = Number(one("#to").value || 1e9);
    const part = one("#part") ? one("#part").value : "", flute = one("#flute") ? one("#flute").value : "";
    let count = 0;
    for (const name of data.order) {
      const demand = data.demands[name];
      const status = flute && demand.on[flute] || demand.status;
      demand.hidden = !(statuses.has(status) && demand.bar >= from && demand.bar <= to && (!part || demand.part === part));
      count += !demand.hidden;
      for (const group of groupsOf(name)) {
        group.classList.toggle("dim", demand.hidden);
        if (group.matches(".note,.chord"))
          for (const each of ["playable", "doubtful", "unplayable"]) group.classList.toggle("vw-" + each, each === status);
      }
    }
    for (const card of all(".cards .card")) {
      card.hidden = !data.order.some((name) => data.demands[name].entry === card.id && !data.demands[name].hidden);
      for (const answer of all(".answer", card)) {
        const there = flute && all(".answer", card).some((other) => other.dataset.flute === flute);
        answer.hidden = Boolean(there) && answer.dataset.flute !== flute;
      }
    }
    if (flute) drawAbove(flute);
    for (const row of all("tr[data-row]")) row.hidden = data.demands[row.dataset.row].hidden;
    tell(count);
    if (!panel.hidden && chosen) choose(chosen, false);
  };
  form.addEventListener("input", filter);
  form.addEventListener("submit", (event) => event.preventDefault());
  if (one("#flute")) filter(); else tell(data.order.length);
  root.dataset.ready = "yes";
})();
