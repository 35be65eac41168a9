"use strict";
(() => {
  const page = JSON.parse(document.getElementById("tables").textContent);
  const $ = (id) => document.getElementById(id);
  const typed = $("typed"), slid = $("slid"), told = $("told");
  const last = page.steps - 1, high = page.low + last;
  const at = (values, t, ratio) => {
    const x = Math.min(Math.max(t - page.low, 0), last), k = Math.min(Math.floor(x), last - 1), s = x - k;
    const a = values[k], b = values[k + 1];
    return ratio ? a * Math.pow(b / a, s) : a + s * (b - a);
  };
  const digits = (v) => {
    if (!(Math.abs(v) > 0)) return "0";
    const size = Math.floor(Math.log10(Math.abs(v)));
    return v.toFixed(Math.max(2 - size, 0));
  };
  const degrees = (t) => String(Math.round(t * 10) / 10).replace("-", "\u2212");
  const share = (p) => (p > 0 && p < 0.01 ? "below 1 %" : p > 0.99 && p < 1 ? "above 99 %" : Math.round(100 * p) + " %");
  // Judged up and down only, no part is better than the second word.
  const word = (p, i) => Math.max(page.verdicts.findIndex((v) => p >= v[0]), page.parts[i].d ? 0 : 1);
  const band = (node, three, t) => {
    const [m, l, h] = three.map((values) => digits(at(values, t, true)));
    node.querySelector("b").textContent = m;
    node.querySelector("span").textContent = l + " to " + h;
  };
  const show = (t) => {
    let best = -1, most = -1;
    page.parts.forEach((part, i) => {
      const card = $("part" + i), p = at(part.p, t, false), v = word(p, i);
      card.querySelector(".verdict").className = "verdict v" + v;
      card.querySelector(".sign b").textContent = page.verdicts[v][2];
      card.querySelector(".word").textContent = page.verdicts[v][1] + ", " + share(p);
      band(card.querySelector(".f"), part.f, t);
      band(card.querySelector(".k"), part.k, t);
      band(card.querySelector(".z"), part.z, t);
      card.querySelector(".beyond").hidden = !part.x[Math.min(Math.max(Math.round(t - page.low), 0), last)];
      if (p > most + 1e-9) { most = p; best = i; }
    });
    $("cursor").setAttribute("transform", "translate(" + (page.left + ((t - page.low) / last) * page.across) + " 0)");
    slid.setAttribute("aria-valuetext", degrees(t) + " degrees Celsius");
    const ends = t === page.low || t === high ? " This page knows " + degrees(page.low) + " to " + degrees(high) + " °C." : "";
    told.textContent = "At " + degrees(t) + " °C: " + (most < page.verdicts[2][0]
      ? "nothing suits; nearest is " : "best is ") + (best + 1) + " " + page.parts[best].name + " (" + page.verdicts[word(most, best)][1] + ", " + share(most) + ")." + ends;
  };
  const set = (t, from) => {
    t = Math.min(Math.max(t, page.low), high);
    if (from !== slid) slid.value = t;
    if (from !== typed) typed.value = t;
    show(t);
  };
  slid.addEventListener("input", () => set(Number(slid.value), slid));
  typed.addEventListener("input", () => {
    const text = typed.value.trim().replace("\u2212", "-");
    const fine = /^[+-]?\d+([.,]\d+)?$/.test(text);
    typed.setAttribute("aria-invalid", String(!fine));
    if (fine) set(Number(text.replace(",", ".")), typed);
    else told.textContent = "Type a temperature in °C, such as \u22125.";
  });
  typed.addEventListener("change", () => { typed.value = slid.value; typed.setAttribute("aria-invalid", "false"); show(Number(slid.value)); });
  typed.addEventListener("keydown", (event) => {
    const step = { ArrowUp: 1, ArrowDown: -1, PageUp: 10, PageDown: -10 }[event.key];
    if (step) { event.preventDefault(); set(Number(slid.value) + step); }
  });
  document.querySelectorAll("button[data-step]").forEach((button) =>
    button.addEventListener("click", () => set(Number(slid.value) + Number(button.dataset.step))));
  document.querySelectorAll("button[data-light]").forEach((button) => button.addEventListener("click", () => {
    const wanted = document.documentElement.dataset.light === button.dataset.light ? "" : button.dataset.light;
    if (wanted) document.documentElement.dataset.light = wanted; else delete document.documentElement.dataset.light;
    document.querySelectorAll("button[data-light]").forEach((b) => b.setAttribute("aria-pressed", String(b.dataset.light === wanted)));
  }));
  document.documentElement.classList.remove("plain");
  set(Number(slid.value));
})();
