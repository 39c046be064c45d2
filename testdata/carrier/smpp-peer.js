// A message centre for tests, on the npm package smpp. It is told what to do by
// lines of JSON on its standard input and tells what happens on its output.
const smpp = require("smpp");
const say = o => process.stdout.write(JSON.stringify(o) + "\n");
const mode = { password: "secret", throttle: 0, queueFull: 0, refuse: 0, mute: false, dropAfter: -1, early: false, status: 0 };
let session = null, ids = 0, submitted = 0, open = 0, most = 0, answered = 0, deferred = 0;

const server = smpp.createServer(s => {
  s.on("error", e => say({ event: "error", why: e.message }));
  s.on("close", () => { if (session === s) session = null; say({ event: "closed" }); });
  s.on("bind_transceiver", pdu => {
    if (pdu.password !== mode.password) {
      s.send(pdu.response({ command_status: smpp.ESME_RINVPASWD }), () => s.close());
      return say({ event: "bind_refused", system_id: pdu.system_id });
    }
    session = s;
    s.send(pdu.response({ system_id: "peer" }));
    say({ event: "bound", system_id: pdu.system_id, version: pdu.interface_version });
  });
  s.on("enquire_link", pdu => { if (!mode.mute) s.send(pdu.response()); say({ event: "enquired" }); });
  s.on("unbind", pdu => { s.send(pdu.response(), () => s.close()); say({ event: "unbound" }); });
  s.on("submit_sm", pdu => {
    if (mode.mute) return;
    if (mode.throttle > 0) { mode.throttle--; return s.send(pdu.response({ command_status: smpp.ESME_RTHROTTLED })); }
    if (mode.queueFull > 0) { mode.queueFull--; return s.send(pdu.response({ command_status: smpp.ESME_RMSGQFUL })); }
    if (mode.refuse > 0) { mode.refuse--; return s.send(pdu.response({ command_status: mode.status || smpp.ESME_RINVDSTADR })); }
    submitted++; open++; most = Math.max(most, open);
    if (mode.dropAfter >= 0 && submitted > mode.dropAfter) { mode.dropAfter = -1; open = 0; say({ event: "dropped" }); return s.destroy(); }
    const id = "id-" + (++ids), sm = pdu.short_message;
    const text = typeof sm.message === "string" ? sm.message : sm.message.toString("hex");
    const udh = sm.udh ? [].concat(...sm.udh.map ? sm.udh : [sm.udh]).map(b => Buffer.isBuffer(b) ? b.toString("hex") : b).join("") : "";
    const from = { ton: pdu.source_addr_ton, npi: pdu.source_addr_npi, number: pdu.source_addr };
    const to = { ton: pdu.dest_addr_ton, npi: pdu.dest_addr_npi, number: pdu.destination_addr };
    if (mode.early) receipt(id, "DELIVRD");
    const answer = () => { open--; s.send(pdu.response({ message_id: id })); if (!mode.quiet) say({ event: "submitted", id, text, udh, coding: pdu.data_coding, esm: pdu.esm_class, receipt: pdu.registered_delivery, from, to }); };
    if (mode.answerAfter) setTimeout(answer, mode.answerAfter); else answer();
  });
});

function receipt(id, stat, tlv) {
  const o = { source_addr: "12025550143", source_addr_ton: 1, destination_addr: "40404", esm_class: 4 };
  o.short_message = tlv ? "" : `id:${id} sub:001 dlvrd:001 submit date:2605022310 done date:2605022311 stat:${stat} err:007 Text:Time to feed`;
  if (tlv) { o.receipted_message_id = id; o.message_state = tlv; }
  deliver(o);
}

function deliver(o) {
  session.deliver_sm(o, answer => { answered++; if (answer.command_status) deferred++; say({ event: "answered", status: answer.command_status, tag: o.tag }); });
}

require("readline").createInterface({ input: process.stdin }).on("line", line => {
  const o = JSON.parse(line);
  if (o.do === "mode") { Object.assign(mode, o.set); return say({ event: "ok" }); }
  if (o.do === "receipt") return receipt(o.id, o.stat, o.tlv);
  if (o.do === "text") {
    const p = { source_addr: o.from || "12025550143", source_addr_ton: o.ton === undefined ? 1 : o.ton, destination_addr: "40404", tag: o.tag };
    if (o.coding !== undefined) p.data_coding = o.coding;
    if (o.udh) { p.esm_class = 0x40; p.short_message = { udh: Buffer.from(o.udh, "hex"), message: o.text }; } else if (o.payload) p.message_payload = { message: o.text }; else p.short_message = o.text;
    return deliver(p);
  }
  if (o.do === "enquire") return session.enquire_link(() => say({ event: "we_enquired" }));
  if (o.do === "unbind") return session.unbind(() => say({ event: "unbind_answered" }));
  if (o.do === "destroy") { session.destroy(); return; }
  if (o.do === "count") return say({ event: "count", submitted, most, answered, deferred });
}).on("close", () => process.exit(0));

server.listen(0, "127.0.0.1", () => say({ event: "listening", port: server.address().port }));
