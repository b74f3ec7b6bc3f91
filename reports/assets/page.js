"use strict";
(() => {
  const byId = (id) => document.getElementById(id);
  if (!byId("figures")) return;
  let figures = {};
  let plots = [...document.querySelectorAll("[data-plot]")].map((one) => one.id);
  const phone = matchMedia("(max-width: 46rem)");
  let span = null;

  const fail = (why) => {
    plots.forEach((id, place) => {
      const box = byId(id);
      box.removeAttribute("role");
      box.removeAttribute("aria-label");
      box.classList.add("failed");
      box.replaceChildren();
      if (place) return;
      const text = document.createElement("p");
      text.className = "failed-note";
      text.textContent = `The plots cannot be drawn here (${why}). Findings and tables are complete without them.`;
      box.append(text);
    });
    document.querySelectorAll(".tools").forEach((one) => (one.hidden = true));
  };

  const unpacked = (id) => {
    const packed = atob(byId(id).textContent.trim());
    const bytes = new Uint8Array(packed.length);
    for (let i = 0; i < packed.length; i++) bytes[i] = packed.charCodeAt(i);
    byId(id).remove();
    return new Response(new Blob([bytes]).stream().pipeThrough(new DecompressionStream("gzip")));
  };
  const load = async () => {
    if (!window.Plotly && !byId("plot-script")) throw new Error("the plot script beside this page is missing");
    if (!("DecompressionStream" in window)) throw new Error("this browser does not unpack compressed data; a newer one does");
    figures = await unpacked("figures").json();
    if (window.Plotly) return;
    const script = document.createElement("script");
    script.textContent = await unpacked("plot-script").text();
    document.head.append(script);
  };

  const PAPER = { width: 680, height: 800 };
  const onPaper = () => "paper" in document.documentElement.dataset;
  const colour = (name) => getComputedStyle(document.documentElement).getPropertyValue(`--${name}`).trim();
  // Colours in figures are names after an @; they become those of light, dark or paper here.
  const coloured = (value) => {
    if (typeof value === "string") return value.includes("@") ? value.replace(/@(c[1-6]|ink|muted|grid|act|watch|note|band)\b/g, (_, name) => colour(name)) : value;
    if (Array.isArray(value)) return value.map(coloured);
    if (value && typeof value === "object") {
      if ("bdata" in value) return value;
      return Object.fromEntries(Object.entries(value).map(([key, one]) => [key, key === "text" && Array.isArray(one) ? one : coloured(one)]));
    }
    return value;
  };

  const STEPS = [0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14400];
  const two = (number) => String(number).padStart(2, "0");
  const clockText = (seconds, clock, step) => {
    let at = clock === null ? seconds : seconds + clock;
    const sign = at < 0 ? "−" : "";
    at = Math.abs(at);
    if (clock !== null) at %= 86400;
    const whole = Math.floor(at + 1e-6);
    const parts = [Math.floor(whole / 3600), two(Math.floor(whole / 60) % 60), two(whole % 60)];
    if (clock === null && parts[0] === 0) parts.shift();
    let text = sign + (clock === null ? "" : two(parts.shift()) + ":") + parts.join(":");
    if (step < 1) text += (at - whole).toFixed(step < 0.1 ? 2 : 1).slice(1);
    return text;
  };
  const ticks = (from, to, clock, width) => {
    const wanted = Math.max(3, Math.floor(width / 110));
    const step = STEPS.find((one) => (to - from) / one <= wanted) || 28800;
    const shift = clock === null ? 0 : clock;
    const vals = [], text = [];
    for (let at = Math.ceil((from + shift) / step) * step - shift; at <= to + 1e-9; at += step) {
      vals.push(at);
      text.push(clockText(at, clock, step));
    }
    return { tickmode: "array", tickvals: vals, ticktext: text, range: [from, to] };
  };

  // On a phone a panel's keys stand below its title, and names of lines further apart.
  const narrowed = (one) => {
    if (one.small) one.x = Math.max(1 - 2.3 * (1 - one.x), 0.35);
    if (one.small || one.text.replace(/<[^>]*>/g, "").length < 52) return;
    one.text = one.text.replace("   <span", "<br><span");
    one.font = { ...one.font, size: one.text.replace(/<[^>]*>/g, "").length > 85 ? 9 : 10.5 };
  };

  const layoutOf = (id) => {
    const figure = figures[id];
    const layout = coloured(structuredClone(figure.layout));
    const ink = colour("ink"), grid = colour("grid"), muted = colour("muted");
    const font = getComputedStyle(document.body).fontFamily;
    Object.assign(layout, {
      paper_bgcolor: "rgba(0,0,0,0)", plot_bgcolor: "rgba(0,0,0,0)", autosize: true,
      font: { family: font, size: 12, color: ink }, dragmode: phone.matches ? false : "zoom",
      margin: { l: 46, r: 8, t: 8, b: 40 }, hovermode: figure.ends ? "x unified" : "closest",
      hoverlabel: { bgcolor: colour("raised"), bordercolor: muted, font: { color: ink, size: 12 } },
      showlegend: Boolean(layout.showlegend), legend: { orientation: "h", y: -0.22, x: 0, font: { size: 12 } },
    });
    if (layout.showlegend) layout.margin.b = 60;
    if (onPaper()) {
      // No plot is wider or higher than a sheet of A4 or letter within its margins.
      layout.width = Math.min(PAPER.width, byId(id).clientWidth);
      layout.height = Math.min(layout.height, PAPER.height);
    }
    layout.annotations = layout.annotations.map((one) => ({ font: { size: 12 }, ...one }));
    if (phone.matches) layout.annotations.forEach(narrowed);
    layout.annotations.forEach((one) => { if (one.small) { one.font = { ...one.font, size: 10.5 }; one.bgcolor = colour("paper"); one.borderpad = 0; delete one.small; } });
    for (const key of Object.keys(layout)) {
      if (!/^[xy]axis/.test(key)) continue;
      Object.assign(layout[key], { gridcolor: grid, zerolinecolor: muted, zerolinewidth: 1, linecolor: muted, tickfont: { size: 11, color: muted } });
      if (key === "xaxis" && figure.ends) layout[key].zeroline = false;
    }
    if (figure.ends) {
      const [from, to] = (id === "timeline" && span) || figure.ends;
      if (figure.plain_axis) layout.margin.t = 22;
      Object.assign(layout.xaxis, figure.plain_axis ? { range: [from, to] } : ticks(from, to, figure.clock, byId(id).clientWidth), { showspikes: true, spikemode: "across", spikethickness: 1, spikedash: "dot", spikecolor: muted });
      layout.hoversubplots = "axis";
      if (phone.matches) { layout.hovermode = "closest"; delete layout.hoversubplots; }
    }
    return layout;
  };

  const draw = (id) => Plotly.react(byId(id), coloured(figures[id].data), layoutOf(id), { displayModeBar: false, responsive: true, scrollZoom: false, doubleClick: false, showTips: false });
  const drawAll = () => plots.forEach(draw);

  const say = (from, to) => {
    const figure = figures.timeline;
    const step = to - from < 20 ? 0.1 : 1;
    byId("shown").textContent = `${clockText(from, figure.clock, step)} to ${clockText(to, figure.clock, step)}`;
  };
  // Seen closer, each panel is drawn to the height of what is in view; level lines near it stay.
  const heights = (from, to) => {
    const figure = figures.timeline, ranges = {};
    for (const trace of byId("timeline")._fullData || []) {
      if (trace.mode !== "lines") continue;
      const seen = (ranges[trace.yaxis] ||= [Infinity, -Infinity]);
      for (let i = 0; i < trace.x.length; i++) {
        if (trace.x[i] < from || trace.x[i] > to || !Number.isFinite(trace.y[i])) continue;
        seen[0] = Math.min(seen[0], trace.y[i]);
        seen[1] = Math.max(seen[1], trace.y[i]);
      }
    }
    const change = {};
    for (const [axis, seen] of Object.entries(ranges)) {
      const key = axis.replace("y", "yaxis"), whole = figure.layout[key].range;
      if (!span && whole) { change[`${key}.range`] = whole; continue; }
      if (!span || seen[0] > seen[1]) { change[`${key}.autorange`] = true; continue; }
      const room = Math.max(seen[1] - seen[0], 0.02 * Math.max(Math.abs(seen[0]), Math.abs(seen[1])), 0.1);
      const levels = figure.layout.shapes.filter((one) => one.type === "line" && one.yref === axis).map((one) => one.y0);
      const near = levels.filter((one) => one > seen[0] - 0.6 * room && one < seen[1] + 0.6 * room);
      change[`${key}.range`] = [Math.min(seen[0], ...near) - 0.12 * room, Math.max(seen[1], ...near) + 0.12 * room];
    }
    return change;
  };
  const show = (from, to) => {
    const figure = figures.timeline;
    const [first, last] = figure.ends;
    const width = Math.min(Math.max(to - from, 0.5), last - first);
    const start = Math.min(Math.max(from, first), last - width);
    span = width >= last - first ? null : [start, start + width];
    const [a, b] = span || figure.ends;
    const set = ticks(a, b, figure.clock, byId("timeline").clientWidth);
    say(a, b);
    return Plotly.relayout(byId("timeline"), { "xaxis.range": set.range, "xaxis.tickvals": set.tickvals, "xaxis.ticktext": set.ticktext, ...heights(a, b) });
  };

  const moves = {
    all: () => figures.timeline.ends,
    earlier: ([a, b]) => [a - (b - a) / 2, b - (b - a) / 2],
    later: ([a, b]) => [a + (b - a) / 2, b + (b - a) / 2],
    closer: ([a, b]) => [a + (b - a) / 4, b - (b - a) / 4],
    wider: ([a, b]) => [a - (b - a) / 2, b + (b - a) / 2],
  };
  const connect = () => {
    document.querySelectorAll("[data-move]").forEach((button) => button.addEventListener("click", () => show(...moves[button.dataset.move](span || figures.timeline.ends))));
    document.querySelectorAll("a.place").forEach((link) => link.addEventListener("click", () => {
      show(Number(link.dataset.from), Number(link.dataset.to));
      byId("timeline-section").focus({ preventScroll: true });
    }));
    byId("timeline").on("plotly_relayout", (change) => {
      const from = change["xaxis.range[0]"], to = change["xaxis.range[1]"];
      if (from !== undefined && to !== undefined) show(from, to);
    });
    byId("timeline").on("plotly_doubleclick", () => show(...figures.timeline.ends));
    say(...figures.timeline.ends);
  };

  const start = async () => {
    try {
      await load();
    } catch (fault) {
      fail(fault.message);
      return;
    }
    plots = plots.filter((id) => id in figures);
    plots.forEach((id) => byId(id).replaceChildren());
    // The first plot is drawn before the others are begun, so that it is seen early.
    const order = plots.sort((a, b) => byId(a).compareDocumentPosition(byId(b)) & 4 ? -1 : 1);
    for (const id of order) {
      await draw(id);
      if (id === order[0]) performance.mark("first-plot");
      await new Promise((go) => setTimeout(go));
    }
    if (byId("timeline")) connect();
    for (const id of order) byId(id).on("plotly_click", (click) => {
      const place = byId(click.points[0]?.customdata);
      if (!place) return;
      place.closest("details")?.setAttribute("open", "");
      place.scrollIntoView({ block: "center" });
      place.focus({ preventScroll: true });
    });
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", drawAll);
    phone.addEventListener("change", drawAll);
    addEventListener("beforeprint", () => { document.documentElement.dataset.paper = ""; drawAll(); });
    addEventListener("afterprint", () => { delete document.documentElement.dataset.paper; drawAll(); });
    document.documentElement.dataset.drawn = "yes";
  };
  start();
})();
