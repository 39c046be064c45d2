// Tells the reader whether this page still hears of the service, announces
// cases that came or ran out, and keeps the count in the title. Everything it
// shows is rendered by the server; without it the page says that it is old.
(function () {
  "use strict";
  var QUIET_MS = 45000; // past this, silence is said in words: within 60 s, the way included
  var line = document.getElementById("own-line");
  var announce = document.getElementById("announce");
  if (!line) return;

  var heard = 0; // when the last event came; 0: none yet
  var failed = false;

  function span(ms) {
    var s = Math.floor(ms / 1000);
    return s < 60 ? s + " s" : Math.floor(s / 60) + " min";
  }

  // say changes an element only when its words change: a live region stays quiet.
  function say(el, words) {
    if (el.textContent !== words) el.textContent = words;
  }

  function tell() {
    if (!heard && !failed) return; // the server's words stand
    var quiet = Date.now() - heard;
    var old = failed || quiet > QUIET_MS;
    document.documentElement.classList.toggle("live", !old);
    line.classList.toggle("old", old);
    if (failed) say(line, line.dataset.failed);
    else if (old) say(line, line.dataset.lost);
    else say(line, line.dataset.live + " " + span(quiet) + " ago.");
  }

  document.body.addEventListener("htmx:sseMessage", function () {
    heard = Date.now();
    tell();
  });
  document.body.addEventListener("htmx:responseError", function () {
    failed = true;
    tell();
  });
  document.body.addEventListener("htmx:afterOnLoad", function (e) {
    if (e.detail.successful !== false) failed = false;
    tell();
  });
  // A closed laptop lid: the timers stood still, so look at once.
  document.addEventListener("visibilitychange", tell);
  setInterval(tell, 1000);

  // What was on the queue before a renewal: id -> overdue.
  function standing() {
    var m = {};
    document.querySelectorAll("#queue .case").forEach(function (el) {
      m[el.id] = el.classList.contains("overdue");
    });
    return m;
  }

  var before = standing();
  // Numbers that the reader had open stay open when the list is renewed.
  var opened = [];
  document.body.addEventListener("htmx:beforeSwap", function () {
    opened = Array.from(document.querySelectorAll("details[id][open]"), function (d) { return d.id; });
  });
  document.body.addEventListener("htmx:afterSwap", function () {
    opened.forEach(function (id) {
      var d = document.getElementById(id);
      if (d) d.open = true;
    });
    var count = document.getElementById("queue-count");
    if (!count) return;
    var n = Number(count.dataset.count);
    document.title = (n ? "(" + n + ") " : "") + document.body.dataset.title;
    var now = standing(), words = [];
    Object.keys(now).forEach(function (id) {
      var said = document.getElementById(id).dataset.announce;
      if (!(id in before)) words.push(count.dataset.new + ": " + said);
      else if (now[id] && !before[id]) words.push(count.dataset.overdue + ": " + said);
    });
    before = now;
    if (words.length) announce.textContent = words.slice(0, 3).join(". ");
  });
})();
