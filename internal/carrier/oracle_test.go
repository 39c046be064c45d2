package carrier

import (
	"encoding/base64"
	"encoding/json"
	"math/rand/v2"
	"os/exec"
	"strconv"
	"strings"
	"testing"
	"time"

	"hearthline/internal/testneed"
)

// oracleScript verifies what we signed and signs what we shall verify, with the
// npm package standardwebhooks 1.1.1. Its clock is set to the message's.
const oracleScript = `
const { Webhook } = require("standardwebhooks");
const cases = JSON.parse(require("fs").readFileSync(0, "utf8"));
const real = Date.now;
console.log(JSON.stringify(cases.map(c => {
  const w = new Webhook(c.secret), body = Buffer.from(c.body, "base64").toString();
  Date.now = () => c.now * 1000;
  let believed = true;
  try { w.verify(body, {"webhook-id": c.id, "webhook-timestamp": String(c.at), "webhook-signature": c.signature}, {jsonParse: false}); }
  catch (e) { believed = e.message; }
  Date.now = real;
  return { believed, signature: w.sign(c.id, new Date(c.at * 1000), body) };
})));`

// Both directions against an independent implementation, and the same edge of
// the tolerance.
func TestAgainstIndependentWebhooks(t *testing.T) {
	dir := testneed.Node(t, "standardwebhooks")
	type ask struct {
		Secret    string `json:"secret"`
		ID        string `json:"id"`
		At        int64  `json:"at"`
		Now       int64  `json:"now"`
		Body      string `json:"body"`
		Signature string `json:"signature"`
		body      []byte
		keys      []Secret
	}
	r := rand.New(rand.NewPCG(7, 7))
	const letters = "abc {}\":.,é€\U0001F600\n"
	var asks []ask
	for i := range 200 {
		raw := make([]byte, 24+r.IntN(41))
		for j := range raw {
			raw[j] = byte(r.Uint32())
		}
		body := ""
		for range r.IntN(200) {
			body += string([]rune(letters)[r.IntN(len([]rune(letters)))])
		}
		a := ask{Secret: "whsec_" + base64.StdEncoding.EncodeToString(raw), ID: "msg_" + strconv.Itoa(i) + ".0", At: 1_700_000_000 + r.Int64N(1e8),
			body: []byte(body), Body: base64.StdEncoding.EncodeToString([]byte(body))}
		a.Now = a.At + []int64{0, 300, 301, -300, -301}[i%5]
		a.keys = []Secret{secret(t, a.Secret)}
		signers := a.keys
		if i%3 == 0 { // rotation: another key's signature first
			signers = append([]Secret{{raw[:24:24]}}, signers...)
		}
		a.Signature = Sign(signers, a.ID, time.Unix(a.At, 0), a.body)
		asks = append(asks, a)
	}
	in, err := json.Marshal(asks)
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(testneed.Command(t, "node"), "-e", oracleScript)
	cmd.Dir, cmd.Stdin = dir, strings.NewReader(string(in))
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("node: %v", err)
	}
	var answers []struct {
		Believed  any    `json:"believed"`
		Signature string `json:"signature"`
	}
	if err := json.Unmarshal(out, &answers); err != nil || len(answers) != len(asks) {
		t.Fatalf("node said %q: %v", out, err)
	}
	for i, a := range asks {
		h := Headers{a.ID, strconv.FormatInt(a.At, 10), a.Signature}
		ours := Verify(a.keys, h, a.body, time.Unix(a.Now, 0)) == nil
		theirs := answers[i].Believed == true
		if ours != theirs || ours != (max(a.Now-a.At, a.At-a.Now) <= 300) {
			t.Errorf("case %d, %d s off: we believe %v, they %v", i, a.Now-a.At, ours, answers[i].Believed)
		}
		h.Signature = answers[i].Signature
		if err := Verify(a.keys, h, a.body, time.Unix(a.At, 0)); err != nil {
			t.Errorf("case %d: what they signed: %v", i, err)
		}
	}
}
