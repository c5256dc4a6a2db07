"use strict"
const $ = q => document.querySelector(q), $$ = q => [...document.querySelectorAll(q)]
const day = { shoots: [] }
let at = -1          // the shoot that is looked at
let shown = 0        // its frame, from 0
let frames = null    // what does not change about its frames
let look = null      // the shoot as its settings have it
let playing = 0      // number of the playing under way, 0 for none
const past = []      // for undo: {shoot, settings}

// Talking to the server.

async function ask(path, body) {
  const r = await fetch(path, body === undefined ? {} : { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body) })
  const x = await r.json().catch(() => ({ error: "the page was refused: open the printed link again" }))
  if (!r.ok) throw Object.assign(new Error(x.error || r.statusText), { status: r.status })
  return x
}
function complain(text, again) {
  const p = $("#alert")
  p.hidden = !text
  p.textContent = text || ""
  if (again) {
    const b = document.createElement("button")
    b.type = "button"; b.textContent = "Load it again"; b.id = "reload"
    b.onclick = () => location.reload()
    p.append(" ", b)
  }
}
function trouble(e) {
  if (e.status === 409) complain("The plan was changed in another window or by another program. What you have just chosen was not written over it. ", true)
  else if (e instanceof TypeError) complain("Stillspan does not answer any more: it was stopped. Start it again with 'stillspan review' and open the new link.")
  else complain(e.message[0].toUpperCase() + e.message.slice(1) + ".")
}
// One change after the other: each names the version that the one before gave.
let queue = Promise.resolve()
let settle = null    // chooses at once what arrow keys are still moving
function choose(settings, undoing) {
  settle?.()
  const shoot = at
  queue = queue.then(async () => {
    const before = Object.fromEntries(Object.keys(settings).map(k => [k, look.settings[k]]))
    if (shoot !== at || Object.entries(settings).every(([k, v]) => before[k] === v)) return fill()
    $("#saved").textContent = "Saving ..."
    try {
      const l = await ask("/api/shoot/" + shoot, { version: look.version, settings })
      if (!undoing) past.push({ shoot, settings: before })
      $("#undo").disabled = past.length === 0
      complain("")
      $("#saved").textContent = "Saved in " + day.plan + " at " + new Date().toLocaleTimeString()
      const d = await ask("/api/day")
      Object.assign(day, d)
      if (shoot === at) { look = l; fill() }
      list()
    } catch (e) { $("#saved").textContent = "Not saved"; trouble(e); fill() }
  })
  return queue
}
async function undo() {
  settle?.()
  await queue
  const u = past.pop()
  if (!u) return
  if (u.shoot !== at) await open(u.shoot)
  await choose(u.settings, true)
}

// The day.

function el(name, text, more) { return Object.assign(document.createElement(name), { textContent: text || "" }, more) }
function list() {
  $("#folder").textContent = day.folder
  document.title = day.folder + " - Stillspan review"
  $("#foot").textContent = `Plan: ${day.plan}. Clips: ${day.out}.` + (day.not_found.length ? ` Planned, and not found: ${day.not_found.join(", ")}.` : "")
  const had = document.activeElement?.dataset?.shoot
  $("#shoots").replaceChildren(...day.shoots.map((s, i) => {
    const b = el("button", "", { type: "button", onclick: () => open(i) })
    b.dataset.shoot = i
    b.setAttribute("aria-current", i === at)
    b.append(el("img", "", { src: `/frame/${i}/${s.frames >> 1}`, alt: "", loading: "lazy" }), el("b", s.name), small(s))
    const li = el("li"); li.append(b); return li
  }))
  if (had !== undefined) $(`[data-shoot="${had}"]`)?.focus()
  tell()
}
function small(s) {
  const p = el("small", word(s), { className: s.state.Class })
  p.append(el("span", s.frames + " frames"), el("span", s.start))
  return p
}
function word(s) { return s.state.Sign + " " + s.state.Word }
function tell() {
  const s = day.shoots[at]
  if (!s) return
  $("#name").textContent = s.name
  $("#verdict").textContent = s.state.Sign + " " + s.headline + "."
  $("#verdict").className = s.state.Class
  $("#found").hidden = !s.findings.length
  $("#found summary").textContent = "What was found: " + s.findings.length
  $("#findings").replaceChildren(...s.findings.map(f => el("li", f.text + (f.advice ? ": " + f.advice : ""))))
}
async function open(i) {
  settle?.()
  await queue
  stop()
  const [f, l] = await Promise.all([ask(`/api/shoot/${i}/frames`), ask("/api/shoot/" + i)])
  at = i; frames = f; look = l; shown = 0
  pics.clear()
  history.replaceState(null, "", "#" + (i + 1))
  const n = f.names.length
  for (const q of ["#scrub", "#frame", "[name=first]", "[name=last]"]) $(q).max = n
  $("[name=last]").placeholder = n
  list(); fill(); show(Math.min(n - 1, n >> 1))
  poll(i)
}
// poll asks again until the shoot is measured.
async function poll(i) {
  while (i === at && !look.light && !look.failed) {
    await new Promise(r => setTimeout(r, 500))
    if (i !== at) return
    try { const l = await ask("/api/shoot/" + i); if (i === at && l.version === look.version) { look = l; fill() } } catch (e) { return trouble(e) }
  }
}

// Frames: a ring of decoded pictures around the one shown.

const pics = new Map()
function picture(k) {
  let p = pics.get(k)
  if (p) { pics.delete(k); pics.set(k, p); return p }
  const img = new Image()
  img.src = `/frame/${at}/${k}`
  p = { img, ready: img.decode().then(() => { p.ok = true }, () => { p.bad = true }) }
  pics.set(k, p)
  while (pics.size > 64) pics.delete(pics.keys().next().value)
  return p
}
let sharper = 0
async function show(k) {
  const n = frames.names.length, i = at
  shown = k = Math.max(0, Math.min(n - 1, k))
  place(k)
  const p = picture(k)
  for (let d = 1; d <= 12; d++) if (frames.names[k + d]) picture(k + d)
  if (!p.ok && !p.bad) await p.ready
  if (k !== shown || i !== at) return false
  if (p.bad) await why(k, i); else draw(p.img)
  clearTimeout(sharper)
  if (!playing) sharper = setTimeout(() => sharp(k, i), 350)
  return true
}
async function why(k, i) {
  const text = await fetch(`/frame/${i}/${k}`).then(r => r.text(), () => "")
  if (k !== shown) return
  for (const c of [$("#shot"), $("#after")]) c.getContext("2d").clearRect(0, 0, c.width, c.height)
  wait(text)
}
async function sharp(k, i) {
  const img = new Image()
  img.src = `/frame/${i}/${k}?sharp=1`
  try { await img.decode() } catch { return }
  if (k === shown && i === at && !playing) draw(img)
}
function wait(text) { $("#wait").hidden = !text; $("#wait").textContent = text || "" }
let drawn = 0
function draw(img) {
  drawn++
  wait("")
  for (const c of [$("#shot"), $("#after")]) {
    if (c.width !== img.naturalWidth || c.height !== img.naturalHeight) { c.width = img.naturalWidth; c.height = img.naturalHeight }
    c.getContext("2d").drawImage(img, 0, 0)
  }
  if (!frames.width) { frames.width = img.naturalWidth; frames.height = img.naturalHeight; boxes() }
}
function place(k) {
  const add = look.light && look.light.on ? look.light.add : null
  ;["R", "G", "B"].forEach((c, j) => $("#gain feFunc" + c).setAttribute("slope", 2 ** (add ? add[j][k] || 0 : 0)))
  $("#after").style.filter = "url(#gain)"
  $("#scrub").value = $("#frame").value = k + 1
  const s = frames.at_s[k], bad = frames.bad[k] ? `: in no clip, ${frames.bad[k]}` : left(k) ? ": left out" : ""
  $("#where").textContent = `of ${frames.names.length}, ${frames.names[k]}${s === null ? "" : ", " + clock(s)}${bad}`
  $("#scrub").setAttribute("aria-valuetext", `frame ${k + 1}, ${frames.names[k]}`)
  $("#leave").setAttribute("aria-pressed", left(k))
  plot()
}
function clock(s) {
  const t = Math.round(s), two = v => String(v).padStart(2, "0")
  return `${Math.floor(t / 3600)}:${two(Math.floor(t / 60) % 60)}:${two(t % 60)} after the first`
}

// Playing: the frames of the clip at its rate, as far as they come.

function inClip(k) {
  const first = +look.settings.first || 1, last = +look.settings.last || frames.names.length
  return k + 1 >= first && k + 1 <= last && !frames.bad[k] && !left(k)
}
async function play() {
  if (playing) return stop()
  const me = playing = Date.now()
  $("#play").textContent = "Pause"; $("#play").setAttribute("aria-pressed", true)
  const list = frames.names.map((_, k) => k).filter(inClip)
  let j = list.findIndex(k => k > shown)
  if (j < 0) j = 0
  let next = performance.now()
  while (playing === me && list.length) {
    await show(list[j])
    j = (j + 1) % list.length
    next = Math.max(next + 1000 / look.clip.fps, performance.now() - 100)
    await new Promise(r => setTimeout(r, Math.max(0, next - performance.now())))
  }
}
function stop() {
  playing = 0
  $("#play").textContent = "Play"; $("#play").setAttribute("aria-pressed", false)
  if (frames) show(shown)
}
function step(by) { stop(); show(shown + by) }

// What is chosen.

const rates = [["24000/1001", "23.976"], ["24", "24"], ["25", "25"], ["30000/1001", "29.97"], ["30", "30"], ["48", "48"], ["50", "50"], ["60000/1001", "59.94"], ["60", "60"]]
const shapes = [["16:9", "16:9"], ["9:16", "9:16, upright"], ["1:1", "1:1"], ["4:5", "4:5"], ["3:2", "3:2"], ["4:3", "4:3"], ["2:1", "2:1"], ["source", "as the crop is"]]
function options(name, known) {
  const select = $(`[name=${name}]`), now = look.settings[name]
  if (!known.some(([v]) => v === now)) known = [...known, [now, now]]
  if (select.options.length !== known.length) select.replaceChildren(...known.map(([v, t]) => el("option", t + (name === "rate" ? " fps" : ""), { value: v })))
  select.value = now
}
function fill() {
  const s = look.settings
  options("rate", rates); options("aspect", shapes)
  for (const f of ["first", "last", "leave-out", "gaps", "smooth"]) if (document.activeElement !== $(`[name=${f}]`) || $(`[name=${f}]`).tagName === "SELECT") $(`[name=${f}]`).value = s[f]
  for (const f of ["deflicker", "keep-steps", "keep-colour"]) $(`[name=${f}]`).checked = s[f] === "true"
  const c = look.clip, num = v => +v.toFixed(2)
  let text = `${c.frames} frames, ${num(c.seconds)} s at ${c.rate} fps`
  if (c.made_up) text += `, ${c.made_up} of them made up`
  if (c.planned_s) {
    const off = num(c.seconds - c.planned_s)
    text += `. Planned ${Math.round(c.planned_s * c.fps)} frames, ${num(c.planned_s)} s: ` + (off === 0 ? "as long as planned." : `${Math.abs(off)} s ${off < 0 ? "short." : "more."}`)
  } else text += ". No length was planned."
  $("#length").textContent = text
  $("#makes").textContent = c.problem ? "No clip can be made: " + c.problem + "." : `${c.name}, ${c.width} \u00d7 ${c.height}` + (c.there ? ": is there already." : ".")
  $("#proof").disabled = $("#render").disabled = !!c.problem || job.running
  light(); boxes()
  if (frames) place(shown)
}
function light() {
  const l = look.light, p = $("#light")
  if (!l) {
    p.replaceChildren(el("p", look.failed ? "The light could not be measured: " + look.failed : `Measuring the light: ${look.measuring} of ${frames ? frames.names.length : ""} frames. Scrubbing works meanwhile.`))
    return
  }
  const t = el("table"), ev = v => v === null ? "\u2013" : v.toFixed(3)
  t.innerHTML = "<thead><tr><th scope=col>EV rms<th scope=col>as shot<th scope=col>corrected</thead>"
  for (const f of l.figures) { const r = t.insertRow(); r.append(el("th", f.name, { scope: "row" }), el("td", ev(f.before)), el("td", l.on ? ev(f.after) : "as shot")) }
  p.replaceChildren(t, el("p", (l.exact ? "Forecast from the measured stills" : "Quick forecast from coarse cells; the clip is measured finely") + `; changes over ${l.smooth_frames || "-"} frames are kept. Trust: ${l.trust}.`, { className: "soft" }))
}
const runs = t => (t || "").split(",").filter(Boolean).map(r => r.split("-").map(Number)).map(([a, b]) => [a, b || a])
function left(k) { return runs(look.settings["leave-out"]).some(([a, b]) => a <= k + 1 && k + 1 <= b) }
function leave() {
  const out = new Set(runs(look.settings["leave-out"]).flatMap(([a, b]) => Array.from({ length: b - a + 1 }, (_, j) => a + j)))
  if (!out.delete(shown + 1)) out.add(shown + 1)
  const all = [...out].sort((a, b) => a - b), parts = []
  for (const v of all) { const e = parts.at(-1); if (e && v === e[1] + 1) e[1] = v; else parts.push([v, v]) }
  choose({ "leave-out": parts.map(([a, b]) => a === b ? a : a + "-" + b).join(",") })
}

// Boxes on the picture: the crop and the zone.

let editing = ""
function boxOf(name) {
  if (name === "crop") return look.clip.shows
  return look.settings.zone ? look.settings.zone.split(",").map(Number) : [0, 0, 1, 1]
}
function boxes() {
  if (!frames || !look) return
  const st = $("#stage"), w = frames.width || 3, h = frames.height || 2
  st.style.aspectRatio = `${w} / ${h}`
  st.style.maxWidth = `calc(62vh * ${w / h})`
  for (const name of ["crop", "zone"]) {
    const b = $("#" + name), r = boxOf(name)
    b.hidden = name !== editing && (name === "zone" ? !look.settings.zone : !!editing)
    b.classList.toggle("edit", name === editing)
    b.tabIndex = name === editing ? 0 : -1
    lay(b, r)
    $("#edit-" + name).setAttribute("aria-pressed", name === editing)
    b.setAttribute("aria-label", `${name === "crop" ? "Crop" : "Zone"}: ${r.map(v => Math.round(v * 100)).join(", ")} percent from left, from top, wide, high`)
    $$(`[data-box=${name}] input`).forEach((f, j) => { if (f !== document.activeElement) f.value = +(100 * r[j]).toFixed(1) })
  }
  safe()
}
function lay(b, r) { ["left", "top", "width", "height"].forEach((side, j) => { b.style[side] = 100 * r[j] + "%" }) }
function safe() {
  const r = boxOf("crop"), shape = r[2] * frames.width / (r[3] * frames.height)
  $("#safe").replaceChildren(...$$("[data-safe]:checked").map(c => {
    const [a, b] = c.dataset.safe.split(":").map(Number), want = a / b, d = el("div")
    const w = Math.min(1, want / shape), h = Math.min(1, shape / want)
    lay(d, [r[0] + r[2] * (1 - w) / 2, r[1] + r[3] * (1 - h) / 2, r[2] * w, r[3] * h])
    d.append(el("span", c.dataset.safe)); return d
  }))
}
function edit(name) {
  editing = editing === name ? "" : name
  boxes()
  if (editing) $("#" + editing).focus(); else $("#stage").focus()
}
// ratio is width by height in fractions that the crop has to keep; 0 for any.
function ratio(name) {
  if (name === "zone" || look.settings.aspect === "source") return 0
  const [a, b] = look.settings.aspect.split(":").map(Number)
  return a / b * frames.height / frames.width
}
// sized is r with its corner h dragged by dx, dy; the opposite corner stays.
function sized(name, r, h, dx, dy) {
  const least = 0.05, q = ratio(name)
  let [x, y, w, t] = r
  const roomW = h.includes("w") ? x + w : 1 - x, roomH = h.includes("n") ? y + t : 1 - y
  let nw = Math.min(Math.max(w + (h.includes("w") ? -dx : dx), least), roomW)
  let nh = Math.min(Math.max(t + (h.includes("n") ? -dy : dy), least), roomH)
  if (q) {
    nw = Math.min(Math.max(nw, nh * q), roomW, roomH * q)
    nh = nw / q
  }
  if (h.includes("w")) x += w - nw
  if (h.includes("n")) y += t - nh
  return [x, y, nw, nh]
}
function moved(r, dx, dy) {
  return [Math.min(Math.max(r[0] + dx, 0), 1 - r[2]), Math.min(Math.max(r[1] + dy, 0), 1 - r[3]), r[2], r[3]]
}
function setBox(name, r) {
  const cut = v => Math.floor(v * 1e4 + 1e-6) / 1e4
  const text = r[2] > 0.9995 && r[3] > 0.9995 ? "" : [...r.slice(0, 2).map(v => cut(Math.max(0, v))), ...r.slice(2).map(cut)].join(",")
  return choose({ [name]: text })
}
for (const name of ["crop", "zone"]) {
  const b = $("#" + name)
  for (const h of ["nw", "ne", "sw", "se"]) {
    const i = el("i"); i.dataset.h = h
    i.style[h[0] === "n" ? "top" : "bottom"] = "0"; i.style[h[1] === "w" ? "left" : "right"] = "0"
    b.append(i)
  }
  let from = null
  b.addEventListener("pointerdown", e => {
    if (name !== editing) return
    e.preventDefault(); b.focus(); b.setPointerCapture(e.pointerId)
    from = { x: e.clientX, y: e.clientY, r: boxOf(name), h: e.target.dataset.h || "" }
  })
  b.addEventListener("pointermove", e => {
    if (!from) return
    const s = $("#stage").getBoundingClientRect(), dx = (e.clientX - from.x) / s.width, dy = (e.clientY - from.y) / s.height
    from.now = from.h ? sized(name, from.r, from.h, dx, dy) : moved(from.r, dx, dy)
    lay(b, from.now)
  })
  const done = () => { const f = from; from = null; if (f?.now) setBox(name, f.now) }
  b.addEventListener("pointerup", done)
  b.addEventListener("pointercancel", done)
  let held = null, later = 0
  const put = () => { clearTimeout(later); settle = null; const r = held; held = null; setBox(name, r) }
  b.addEventListener("keydown", e => {
    const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[e.key]
    if (name !== editing || !way) return
    e.preventDefault(); e.stopPropagation()
    if (!held) settle?.()
    const by = e.altKey ? 0.001 : 0.01, r = held || boxOf(name)
    held = e.shiftKey ? sized(name, r, "se", way[0] * by, way[1] * by) : moved(r, way[0] * by, way[1] * by)
    lay(b, held)
    clearTimeout(later)
    settle = put
    later = setTimeout(put, 350)
  })
  const four = $(`[data-box=${name}]`)
  ;["left %", "top %", "wide %", "high %"].forEach((t, j) => {
    const l = el("label", t), f = el("input", "", { type: "number", min: 0, max: 100, step: 0.1 })
    f.setAttribute("aria-label", `${name}, ${t}`)
    f.onchange = e => {
      e.stopPropagation()
      const r = [...boxOf(name)]; r[j] = Math.min(Math.max(f.value / 100, j > 1 ? 0.02 : 0), 1)
      if (j > 1) { const q = ratio(name); if (q) r[j === 2 ? 3 : 2] = j === 2 ? r[2] / q : r[3] * q }
      for (const a of [0, 1]) { r[a + 2] = Math.min(r[a + 2], 1); r[a] = Math.min(r[a], 1 - r[a + 2]) }
      setBox(name, r)
    }
    l.append(f); four.append(l)
  })
}

// The light of all frames, as shot and corrected.

function plot() {
  const c = $("#plot"), d = devicePixelRatio || 1, W = c.clientWidth, H = c.clientHeight
  if (!W || !frames) return
  if (c.width !== Math.round(W * d)) { c.width = Math.round(W * d); c.height = Math.round(H * d) }
  const g = c.getContext("2d"), css = getComputedStyle(document.documentElement), colour = n => css.getPropertyValue("--" + n).trim()
  g.setTransform(d, 0, 0, d, 0, 0); g.clearRect(0, 0, W, H)
  const n = frames.names.length, x = k => 44 + (W - 52) * (n > 1 ? k / (n - 1) : 0.5), top = 18, low = H - 20
  g.font = "12px system-ui"; g.fillStyle = colour("soft")
  g.textAlign = "left"; g.fillText("1", x(0), H - 4); g.textAlign = "right"; g.fillText("frame " + n, x(n - 1), H - 4)
  const first = +look.settings.first || 1, last = +look.settings.last || n
  g.fillStyle = colour("line")
  if (first > 1) g.fillRect(x(0), top, x(first - 1) - x(0), low - top)
  if (last < n) g.fillRect(x(last - 1), top, x(n - 1) - x(last - 1), low - top)
  const mark = (k, letter) => { g.fillRect(x(k) - 1, 2, 2, 13); g.textAlign = "left"; if (n < 600) g.fillText(letter, x(k) + 3, 12) }
  g.fillStyle = colour("wrong")
  for (const q of frames.gaps) mark(q.after, q.count)
  for (const k of Object.keys(frames.bad)) mark(+k, "D")
  g.fillStyle = colour("soft")
  for (const [a, b] of runs(look.settings["leave-out"])) g.fillRect(x(a - 1) - 1, top, Math.max(2, x(b - 1) - x(a - 1)), low - top)
  const l = look.light, part = low - (low - top) * 0.42
  if (l) {
    // Above the light, below what departs from the light that is kept.
    const line = (s, y, name, width) => {
      g.beginPath(); let pen = false
      s.forEach((v, k) => { if (v === null) pen = false; else { g[pen ? "lineTo" : "moveTo"](x(k), y(v)); pen = true } })
      g.strokeStyle = colour(name); g.lineWidth = width; g.stroke()
    }
    const lane = (before, after, from, to, zero) => {
      let lo = zero ? -0.05 : Infinity, hi = zero ? 0.05 : -Infinity
      for (const v of before.concat(after)) if (v !== null) { lo = Math.min(lo, v); hi = Math.max(hi, v) }
      if (hi - lo < 0.2) { const m = zero ? 0 : (hi + lo) / 2; lo = Math.min(lo, m - 0.1); hi = Math.max(hi, m + 0.1) }
      const y = v => to - (to - from) * (v - lo) / (hi - lo)
      g.fillStyle = colour("soft"); g.textAlign = "right"
      g.fillText("+" + (zero ? hi : hi - lo).toFixed(zero ? 2 : 1), 40, from + 9); g.fillText(zero ? lo.toFixed(2) : "0 EV", 40, to)
      line(before, y, "soft", 1); if (l.on) line(after, y, "mark", 2)
      return hi - lo
    }
    const off = s => s.map((v, k) => v === null || l.keep[k] === null ? null : v - l.keep[k])
    const span = lane(l.before, l.after, top, part - 10, false)
    g.fillStyle = colour("line"); g.fillRect(x(0), part - 4, x(n - 1) - x(0), 1)
    lane(off(l.before), off(l.after), part + 2, low, true)
    c.setAttribute("aria-label", `Light of ${n} frames over ${span.toFixed(1)} EV, and below what departs from the light that is kept. ` + l.figures.map(f => `${f.name} ${f.before} EV as shot, ${f.after} corrected`).join("; "))
  }
  g.fillStyle = colour("ink"); g.fillRect(x(shown) - 0.75, top - 2, 1.5, low - top + 4)
}
function legend() {
  const key = (name, text) => { const b = el("b"); b.style.borderColor = `var(--${name})`; return [b, text] }
  $("#legend").replaceChildren(...key("soft", "light as shot, and below its flicker alone"), ...key("mark", "corrected"), ...key("wrong", "at the top: frames missing there (their number), damaged (D)"), ...key("line", "not in the clip"))
}

// Clips.

let job = { running: false, number: 0 }
async function make(proof) {
  await queue
  let replace = false
  if (!proof && look.clip.there && !(replace = await sure(`${look.clip.name} is there already. Replace it?`, "Replace"))) return
  try { await ask(`/api/shoot/${at}/clip`, { proof, replace }); complain(""); watch() } catch (e) { trouble(e) }
}
let watching = false
async function watch() {
  if (watching) return
  watching = true
  try {
    do {
      job = await ask("/api/job")
      const p = $("#progress")
      p.hidden = $("#cancel").hidden = !job.running
      $("#proof").disabled = $("#render").disabled = job.running || !!look?.clip.problem
      p.max = job.total || 1; p.value = job.done
      const what = job.number ? (job.proof ? "Proof" : "Clip") + " of " + day.shoots[job.shoot].name : ""
      $("#job").textContent = !job.number ? "" : job.running ? `${what}: ${job.what}, ${job.done} of ${job.total} frames` : `${what}: ${job.said}. ${job.flash || ""}`
      $("#job").className = job.failed || job.flash ? "wrong" : ""
      if (job.running) await new Promise(r => setTimeout(r, 300))
    } while (job.running)
    if (job.number && !job.failed && !job.said.startsWith("cancelled")) {
      const v = $("#video")
      v.hidden = false; v.src = `/clip/${job.shoot}?n=${job.number}`
      v.onerror = () => { v.hidden = true; $("#job").textContent += " This browser cannot play its codec." }
      if (at === job.shoot) { look = await ask("/api/shoot/" + at); fill() }
    }
  } catch (e) { trouble(e) } finally { watching = false }
}
function sure(text, yes) {
  const d = $("#ask")
  $("#ask-text").textContent = text; $("#ask-yes").textContent = yes
  d.returnValue = "no"; d.showModal()
  return new Promise(r => { d.onclose = () => r(d.returnValue === "yes") })
}

// Hands.

$("#form").addEventListener("submit", e => e.preventDefault())
$("#form").addEventListener("change", e => {
  const f = e.target
  if (!f.name) return
  choose({ [f.name]: f.type === "checkbox" ? String(f.checked) : f.value.trim() })
})
$$("[data-safe]").forEach(f => { f.onchange = safe })
$$("[data-here]").forEach(b => { b.onclick = () => choose({ [b.dataset.here]: String(shown + 1) }) })
$$("[data-clear]").forEach(b => { b.onclick = () => choose(b.dataset.clear === "crop" ? { crop: "", "crop-at": "" } : { zone: "" }) })
$$("[data-step]").forEach(b => { b.onclick = () => step(+b.dataset.step) })
$("#leave").onclick = leave
$("#edit-crop").onclick = () => edit("crop")
$("#edit-zone").onclick = () => edit("zone")
$("#play").onclick = play
$("#undo").onclick = undo
$("#help").onclick = () => $("#keys").showModal()
$("#proof").onclick = () => make(true)
$("#render").onclick = () => make(false)
$("#cancel").onclick = () => ask("/api/cancel", {}).catch(trouble)
$("#stop").onclick = async () => {
  if (!await sure("Stop Stillspan? What was chosen is in the plan. A clip that is being made is given up.", "Stop")) return
  try { await ask("/api/stop", {}) } catch { }
  stop(); complain("Stopped. This page can be closed; 'stillspan review' starts it again.")
}
$("#scrub").oninput = e => { if (playing) stop(); show(e.target.value - 1) }
$("#frame").onchange = e => { if (playing) stop(); show(e.target.value - 1) }
function views() {
  const v = $("[name=view]:checked").value
  $("#after").style.visibility = v === "shot" ? "hidden" : "visible"
  $("#wipe-part").hidden = $("#edge").hidden = v !== "wipe"
  const x = $("#wipe").value
  $("#after").style.clipPath = v === "wipe" ? `inset(0 0 0 ${x}%)` : ""
  $("#edge").style.left = x + "%"
}
$$("[name=view]").forEach(f => { f.onchange = views })
$("#wipe").oninput = views
const seek = e => { const r = $("#plot").getBoundingClientRect(), n = frames.names.length; show(Math.round((e.clientX - r.left - 44) / (r.width - 52) * (n - 1))) }
$("#plot").onpointerdown = e => { $("#plot").setPointerCapture(e.pointerId); stop(); seek(e) }
$("#plot").onpointermove = e => { if (e.buttons) seek(e) }
addEventListener("resize", () => { if (look) plot() })
matchMedia("(prefers-color-scheme:dark)").onchange = () => { if (look) plot() }
document.addEventListener("keydown", e => {
  const t = e.target, types = t.matches("input:not([type=range]):not([type=radio]):not([type=checkbox]),select,textarea,dialog *,video")
  if ((e.ctrlKey || e.metaKey) && e.key === "z" && !types) { e.preventDefault(); return undo() }
  if (types || e.ctrlKey || e.metaKey || !frames) return
  const ranged = t.matches("input"), pressed = t.matches("button")
  const act = {
    ArrowLeft: !ranged && (() => step(e.shiftKey ? -10 : -1)), ArrowRight: !ranged && (() => step(e.shiftKey ? 10 : 1)),
    Home: !ranged && (() => step(-1e9)), End: !ranged && (() => step(1e9)), " ": !pressed && !ranged && play,
    a: () => { const v = $$("[name=view]"), j = v.findIndex(f => f.checked); v[(j + 1) % 3].checked = true; views() },
    f: () => choose({ first: String(shown + 1) }), l: () => choose({ last: String(shown + 1) }), x: leave,
    c: () => edit("crop"), z: () => edit("zone"), Escape: () => { if (editing) edit(editing) },
    "[": () => at > 0 && open(at - 1), "]": () => at + 1 < day.shoots.length && open(at + 1), "?": () => $("#keys").showModal(),
  }[e.key.length === 1 ? e.key.toLowerCase() : e.key]
  if (act) { e.preventDefault(); act() }
})

;(async () => {
  try {
    Object.assign(day, await ask("/api/day"))
    legend(); views(); list()
    $("#saved").textContent = "Choices are written to " + day.plan
    await open(Math.min(Math.max((parseInt(location.hash.slice(1)) || 1) - 1, 0), day.shoots.length - 1))
    watch()
  } catch (e) { trouble(e) }
})()
