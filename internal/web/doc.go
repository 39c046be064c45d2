// Package web is what people see: the nurse's queue and cases, the
// coordinator's households, and in the demo the pretend phones. Pages are
// rendered here on the server; a page with scripts off shows the same and is
// renewed by reloading.
//
// The package decides nothing. A click becomes a household event and goes
// through a [Desk]; what comes back, a refusal among it, is shown in its own
// words. What else goes wrong is logged and shown as an internal error, without
// its cause.
//
// Invariants:
//
//   - A number that could not be read is never shown as zero: the page says
//     that it could not be read.
//   - No name, phone number or text stands in an address, a log line or a title.
//   - Every page says how old the engine's last round is, and whether the page
//     itself still hears of news.
//   - No script and no style stands inside a page: the content policy forbids both.
//
// One goroutine a process, the watch, reads the branch's pulse a few times a
// second; open pages hang on it and cost the store nothing.
package web
