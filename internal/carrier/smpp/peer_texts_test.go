package smpp

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"hearthline/internal/carrier"
	"hearthline/internal/journal"
)

func TestPeerTextsOut(t *testing.T) {
	p, l, _, _ := linkToPeer(t, nil)
	if e := p.expect("bound"); e.SystemID != "hearth" || e.Version != 0x34 {
		t.Errorf("bound as %+v", e)
	}
	ctx := context.Background()
	for _, c := range []struct {
		body   string
		coding int
		parts  int
	}{
		{"Time to feed @ 240 mL {ok} €5", 0, 1},
		{"Hora de la toma: mañana 38°C sí \U0001F600", 8, 1},
		{strings.Repeat("0123456789", 16), 0, 1},
		{strings.Repeat("0123456789", 16) + "€", 0, 2},
		{strings.Repeat("agua más ", 15), 8, 3},
	} {
		if err := l.Send(ctx, textTo("maple-17.1.0", c.body)); err != nil {
			t.Fatalf("%q: %v", c.body, err)
		}
		got := ""
		for i := range c.parts {
			e := p.expect("submitted")
			if e.Coding != c.coding || e.Receipt != 1 || e.From.TON != 3 || e.From.Number != "40404" || e.To.TON != 1 || e.To.NPI != 1 || e.To.Number != "12025550143" {
				t.Errorf("%q arrived as %+v", c.body, e)
			}
			if c.parts > 1 && (e.ESM != 0x40 || !strings.HasSuffix(e.UDH, fmt.Sprintf("%02x%02x", c.parts, i+1))) {
				t.Errorf("part %d has esm_class 0x%02x and header %q", i+1, e.ESM, e.UDH)
			}
			got += e.Text
		}
		if got != c.body {
			t.Errorf("arrived as %q, want %q", got, c.body)
		}
	}
	p.do(map[string]any{"do": "count"})
	if e := p.expect("count"); e.Submitted != 8 {
		t.Errorf("%d parts in all, want 8", e.Submitted)
	}
}

func TestPeerRefusals(t *testing.T) {
	p, l, _, _ := linkToPeer(t, nil)
	ctx := context.Background()
	for _, c := range []struct {
		mode  map[string]any
		body  string
		want  carrier.Outcome
		after time.Duration
	}{
		{map[string]any{"throttle": 1}, "x", carrier.NotNow, time.Second},
		{map[string]any{"queueFull": 1}, "x", carrier.NotNow, time.Second},
		{map[string]any{"refuse": 1}, "x", carrier.Refused, 0},
		{map[string]any{"refuse": 1, "status": 0x45}, "x", carrier.NotNow, 0},
		{map[string]any{"throttle": 1}, strings.Repeat("x", 200), carrier.NotNow, time.Second}, // the first part: nothing was sent
		{map[string]any{}, strings.Repeat("x", 153*10+1), carrier.Refused, 0},
		{map[string]any{}, "x", carrier.Taken, 0},
	} {
		p.mode(c.mode)
		err := l.Send(ctx, textTo("maple-17.1.0", c.body))
		var busy *carrier.Busy
		if carrier.OutcomeOf(err) != c.want || errors.As(err, &busy) && busy.After != c.after {
			t.Errorf("%v: %v, want outcome %v, wait %v", c.mode, err, c.want, c.after)
		}
	}
	if err := l.Send(ctx, carrier.Text{ID: "x", From: "40404", Body: "x"}); carrier.OutcomeOf(err) != carrier.Refused {
		t.Errorf("to nobody: %v", err)
	}
}

func TestPeerTextsIn(t *testing.T) {
	p, _, b, notes := linkToPeer(t, nil)
	for _, c := range []struct {
		do   map[string]any
		from string
		want string
	}{
		{map[string]any{"text": "gave 150 @ 9 {ok} €"}, "+12025550143", "gave 150 @ 9 {ok} €"},
		{map[string]any{"text": "gave 150 @ 9 {ok} €", "coding": 0}, "+12025550143", "gave 150 @ 9 {ok} €"},
		{map[string]any{"text": "vomitó \U0001F622", "coding": 8}, "+12025550143", "vomitó \U0001F622"},
		{map[string]any{"text": "vomitó señor", "coding": 3}, "+12025550143", "vomitó señor"},
		{map[string]any{"text": strings.Repeat("long ", 100), "payload": true}, "+12025550143", strings.Repeat("long ", 100)},
		{map[string]any{"text": "", "coding": 0}, "+12025550143", ""},
		{map[string]any{"text": "offer", "from": "BANK", "ton": 5}, "BANK", "offer"},
		{map[string]any{"text": "code", "from": "90210", "ton": 3}, "90210", "code"},
	} {
		c.do["do"] = "text"
		p.do(c.do)
		in := b.next(t)
		if in.Kind != carrier.KindText || in.From != c.from || in.To != "40404" || in.Body != c.want || !strings.HasPrefix(in.ID, "r1/") || in.At.IsZero() {
			t.Errorf("%v came in as %+v", c.do, in)
		}
		if e := p.expect("answered"); e.Status != statusOK {
			t.Errorf("%v was answered 0x%02x", c.do, e.Status)
		}
	}
	// The same words twice are two texts.
	for range 2 {
		p.do(map[string]any{"do": "text", "text": "done"})
	}
	if one, two := b.next(t), b.next(t); one.ID == two.ID || one.Body != "done" || two.Body != "done" {
		t.Errorf("%+v and %+v", one, two)
	}
	// Three parts, out of order, with an emoji over none of the seams; held until whole, then each answered.
	for _, part := range []struct{ udh, text string }{{"050003070303", "\U0001F600 three"}, {"050003070301", "one "}, {"050003070302", "two "}} {
		p.do(map[string]any{"do": "text", "text": part.text, "coding": 8, "udh": part.udh})
	}
	if in := b.next(t); in.Body != "one two \U0001F600 three" {
		t.Errorf("joined as %q", in.Body)
	}
	for range 5 {
		if e := p.expect("answered"); e.Status != statusOK {
			t.Errorf("answered 0x%02x", e.Status)
		}
	}
	// The store is down: come again; it is up: stored, under the same id the second time.
	b.mu.Lock()
	b.fail = errors.New("down")
	b.mu.Unlock()
	p.do(map[string]any{"do": "text", "text": "he threw up"})
	if e := p.expect("answered"); e.Status != statusTryAgain {
		t.Errorf("answered 0x%02x while the store was down, want 0x64", e.Status)
	}
	await(t, notes, NoteNotStored)
	b.mu.Lock()
	b.fail = nil
	b.mu.Unlock()
	p.do(map[string]any{"do": "text", "text": "he threw up"})
	if in := b.next(t); in.Body != "he threw up" || !strings.HasSuffix(in.ID, "/1") {
		t.Errorf("came in as %+v", in)
	}
}

func TestPeerPartsThatNeverCome(t *testing.T) {
	p, _, b, notes := linkToPeer(t, func(c *Config) { c.PartWait = 50 * time.Millisecond })
	p.do(map[string]any{"do": "text", "text": "he threw up", "coding": 8, "udh": "050003090202"})
	if in := b.next(t); in.Body != "…he threw up" {
		t.Errorf("came in as %q", in.Body)
	}
	await(t, notes, NotePieces)
	if e := p.expect("answered"); e.Status != statusOK {
		t.Errorf("answered 0x%02x", e.Status)
	}
}

func TestPeerReceipts(t *testing.T) {
	p, l, b, notes := linkToPeer(t, nil)
	ctx := context.Background()
	send := func(id, body string, parts int) (ids []string) {
		t.Helper()
		if err := l.Send(ctx, textTo(id, body)); err != nil {
			t.Fatal(err)
		}
		for range parts {
			ids = append(ids, p.expect("submitted").ID)
		}
		return ids
	}
	want := func(id, status, why string) {
		t.Helper()
		in := b.next(t)
		if in.Kind != carrier.KindReceipt || in.Receipt.Text != journal.TextID(id) || in.Receipt.Status != status || in.Receipt.Why != why || in.ID != "receipt/"+status+"/"+id {
			t.Errorf("receipt %+v %+v, want %s %s %q", in, in.Receipt, id, status, why)
		}
	}
	one := send("a.1.0", "x", 1)
	p.do(map[string]any{"do": "receipt", "id": one[0], "stat": "ACCEPTD"}) // no news
	p.do(map[string]any{"do": "receipt", "id": one[0], "stat": "DELIVRD"})
	want("a.1.0", "delivered", "")
	two := send("a.2.0", "x", 1)
	p.do(map[string]any{"do": "receipt", "id": two[0], "tlv": 5})
	want("a.2.0", "undelivered", "UNDELIV")
	// Of two parts: delivered when both are.
	long := send("a.3.0", strings.Repeat("x", 200), 2)
	p.do(map[string]any{"do": "receipt", "id": long[1], "stat": "DELIVRD"})
	p.do(map[string]any{"do": "receipt", "id": long[1], "stat": "DELIVRD"}) // doubled
	p.do(map[string]any{"do": "receipt", "id": long[0], "stat": "DELIVRD"})
	want("a.3.0", "delivered", "")
	half := send("a.4.0", strings.Repeat("x", 200), 2)
	p.do(map[string]any{"do": "receipt", "id": half[0], "stat": "DELIVRD"})
	p.do(map[string]any{"do": "receipt", "id": half[1], "stat": "EXPIRED"})
	want("a.4.0", "undelivered", "EXPIRED, error 007")
	// For a text of nobody: answered, told, not stored.
	p.do(map[string]any{"do": "receipt", "id": "id-999", "stat": "DELIVRD"})
	await(t, notes, NoteReceiptUnknown)
	// Before the answer to the text itself.
	p.mode(map[string]any{"early": true})
	send("a.5.0", "x", 1)
	want("a.5.0", "delivered", "")
	for answered := 0; answered < 10; { // each of the ten
		p.do(map[string]any{"do": "count"})
		e := p.expect("count")
		if answered = e.Answered; e.Deferred != 0 {
			t.Fatalf("%d receipts were not taken", e.Deferred)
		}
	}
	if len(b.came) != 0 {
		t.Errorf("%d more came in", len(b.came))
	}
}
