"use strict";
// The clip plays from one small film that holds each frame twice, as shot above
// and in the clip below; a canvas shows one, the other, or both along a wipe.
for (const figure of document.querySelectorAll(".stack")) {
  const script = figure.querySelector("script");
  const stage = document.querySelector('.stage[data-shoot="' + CSS.escape(figure.dataset.shoot) + '"]');
  shoot(figure, JSON.parse(script.textContent), stage);
}

function shoot(figure, data, stage) {
  const readout = (stage || figure).querySelector(".readout");
  const plays = stage && data.clip.length > 0 ? player(stage, data, at) : null;

  // at says which frame is shown, and moves the line through the drawings.
  // index is a frame of the shoot, or ^index where one was made up after it.
  function at(index, shown, quiet) {
    const k = index < 0 ? ~index : index;
    const row = data.rows[k];
    figure.style.setProperty("--at", row[1] / 10 + "%");
    if (quiet) return;
    let text = shown ? "Frame " + shown + " of " + data.clip.length + ": " : "";
    text += index < 0 ? "made up after " + row[0] : row[0];
    if (row[2]) text += ", " + row[2];
    if (index >= 0 && data.notes[k]) text += ". " + data.notes[k];
    readout.textContent = text;
  }

  // open shows a frame of the shoot: in the clip where it is in it.
  function open(k) {
    const place = plays ? data.clip.indexOf(k) : -1;
    if (place < 0) at(k, 0, false);
    else plays.show(place);
    if (plays && place < 0) readout.textContent += " (not in the clip)";
  }

  for (const area of figure.querySelectorAll(".area")) {
    area.addEventListener("click", function (e) {
      if (e.target.closest("button")) return;
      const box = area.getBoundingClientRect();
      const x = (e.clientX - box.left) / box.width * 1000;
      let best = 0;
      data.rows.forEach(function (row, k) {
        if (Math.abs(row[1] - x) < Math.abs(data.rows[best][1] - x)) best = k;
      });
      open(best);
    });
  }

  // The marks are one stop of the tab key; arrows go from one to the next.
  const marks = Array.from(figure.querySelectorAll("button.mark"));
  marks.forEach(function (m, i) {
    m.tabIndex = i === 0 ? 0 : -1;
    m.addEventListener("click", function () { open(Number(m.dataset.frame)); });
    m.addEventListener("keydown", function (e) {
      const to = { ArrowRight: i + 1, ArrowLeft: i - 1, Home: 0, End: marks.length - 1 }[e.key];
      if (to === undefined || !marks[to]) return;
      e.preventDefault();
      m.tabIndex = -1;
      marks[to].tabIndex = 0;
      marks[to].focus();
    });
  });
}

function player(stage, data, at) {
  const video = stage.querySelector("video");
  const canvas = stage.querySelector("canvas");
  const pen = canvas.getContext("2d");
  const does = {};
  for (const e of stage.querySelectorAll("[data-do]")) does[e.dataset.do] = e;
  const views = Array.from(stage.querySelectorAll("[data-view]"));
  const last = data.clip.length - 1;
  let frame = 0, wipe = 0.5, view = "clip", before = "clip";

  video.controls = false;
  video.style.cssText = "position:absolute;opacity:0;pointer-events:none";
  video.tabIndex = -1;
  video.setAttribute("aria-hidden", "true");
  canvas.hidden = false;
  stage.querySelector(".controls").hidden = false;
  stage.classList.add("live");

  function draw() {
    const w = canvas.width, h = canvas.height, vw = video.videoWidth, vh = video.videoHeight / 2;
    if (!vw) return;
    if (view !== "wipe") {
      pen.drawImage(video, 0, view === "shot" ? 0 : vh, vw, vh, 0, 0, w, h);
      return;
    }
    const cut = Math.round(w * wipe);
    pen.drawImage(video, 0, vh, vw, vh, 0, 0, w, h);
    if (cut > 0) pen.drawImage(video, 0, 0, vw * cut / w, vh, 0, 0, cut, h);
    pen.fillStyle = "#fff";
    pen.fillRect(cut - 1, 0, 2, h);
  }
  function tell(quiet) {
    does.frame.value = frame + 1;
    does.frame.setAttribute("aria-valuetext", "frame " + (frame + 1) + " of " + (last + 1));
    at(data.clip[frame], frame + 1, quiet);
  }
  function show(f) {
    video.pause();
    frame = Math.max(0, Math.min(last, f));
    // The middle of a frame: its edges belong to either.
    video.currentTime = (frame + 0.5) / data.fps;
    tell(false);
  }
  function follow(now, meta) {
    frame = Math.max(0, Math.min(last, Math.floor((meta ? meta.mediaTime : video.currentTime) * data.fps + 0.01)));
    draw();
    if (!video.paused) { tell(true); wait(); }
  }
  function wait() {
    if (video.requestVideoFrameCallback) video.requestVideoFrameCallback(follow);
    else requestAnimationFrame(function (now) { follow(now, null); });
  }
  function play() {
    if (!video.paused) { video.pause(); return; }
    if (frame === last) { frame = 0; video.currentTime = 0; }
    video.play();
  }
  function see(v) {
    if (view !== "wipe") before = view;
    view = v;
    stage.dataset.view = v;
    for (const b of views) {
      b.setAttribute("aria-checked", String(b.dataset.view === v));
      b.tabIndex = b.dataset.view === v ? 0 : -1;
    }
    canvas.setAttribute("aria-label", { shot: "The frame as shot", clip: "The frame in the clip", wipe: "The frame, as shot on the left, in the clip on the right" }[v]);
    draw();
  }
  function wipeAt(part) {
    wipe = Math.max(0, Math.min(1, part));
    does.wipe.value = Math.round(100 * wipe);
    draw();
  }

  video.addEventListener("play", function () {
    does.play.textContent = "Pause";
    does.play.setAttribute("aria-pressed", "true");
    wait();
  });
  video.addEventListener("pause", function () {
    does.play.textContent = "Play";
    does.play.setAttribute("aria-pressed", "false");
    tell(false);
  });
  video.addEventListener("ended", function () { frame = last; tell(false); });
  for (const e of ["seeked", "loadeddata"]) video.addEventListener(e, draw);
  video.addEventListener("error", function () {
    stage.querySelector(".readout").textContent = "The small copy of the clip cannot be played here: it is not beside this page, or this browser has no H.264.";
  });
  does.play.addEventListener("click", play);
  does.back.addEventListener("click", function () { show(frame - 1); });
  does.on.addEventListener("click", function () { show(frame + 1); });
  does.frame.addEventListener("input", function () { show(Number(does.frame.value) - 1); });
  does.wipe.addEventListener("input", function () { wipeAt(Number(does.wipe.value) / 100); });
  for (const b of views) b.addEventListener("click", function () { see(b.dataset.view); });

  let drags = false;
  function drag(e) {
    const box = canvas.getBoundingClientRect();
    wipeAt((e.clientX - box.left) / box.width);
  }
  canvas.addEventListener("pointerdown", function (e) {
    if (view !== "wipe") { see(view === "shot" ? "clip" : "shot"); return; }
    drags = true;
    canvas.setPointerCapture(e.pointerId);
    drag(e);
  });
  canvas.addEventListener("pointermove", function (e) { if (drags) drag(e); });
  canvas.addEventListener("pointerup", function () { drags = false; });

  stage.addEventListener("keydown", function (e) {
    if (e.ctrlKey || e.altKey || e.metaKey) return;
    const slider = e.target === does.wipe;
    const radio = e.target.getAttribute("role") === "radio";
    const act = {
      ArrowRight: function () { radio ? turn(1) : show(frame + 1); },
      ArrowLeft: function () { radio ? turn(-1) : show(frame - 1); },
      Home: function () { show(0); },
      End: function () { show(last); },
      s: function () { see(view === "shot" ? "clip" : "shot"); },
      w: function () { see(view === "wipe" ? before : "wipe"); },
      ",": function () { wipeAt(wipe - 0.02); },
      ".": function () { wipeAt(wipe + 0.02); },
    }[e.key.length === 1 ? e.key.toLowerCase() : e.key];
    if (e.key === " " && e.target.tagName !== "BUTTON") { e.preventDefault(); play(); return; }
    if (!act || slider && e.key.length > 1) return;
    e.preventDefault();
    act();
  });
  function turn(by) {
    const to = views[(views.findIndex(function (b) { return b.dataset.view === view; }) + by + views.length) % views.length];
    see(to.dataset.view);
    to.focus();
  }
  see("clip");
  tell(false);
  return { show: show };
}
