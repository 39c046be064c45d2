package carrier

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"testing"
	"time"

	"hearthline/internal/journal"
)

func still() time.Time { return time.Unix(vectorSeconds, 0).UTC() }

func TestPhones(t *testing.T) {
	p := NewPhones("run1", still)
	var heard []PhoneText
	stop := p.Listen(func(m PhoneText) {
		if got := p.Thread(m.Phone); got[len(got)-1].ID != m.ID { // a listener may read, and finds the message there
			t.Errorf("heard of %s before it could be read", m.ID)
		}
		heard = append(heard, m)
	})
	ctx := context.Background()
	a, b := "+12025550143", "+12025550144"
	for range 2 { // the second time under the same id changes nothing
		if err := p.Send(ctx, Text{ID: "maple-17.1.0", From: "40404", To: a, Body: "time to feed"}); err != nil {
			t.Fatal(err)
		}
	}
	in := p.Type(a, "40404", "gave 150", 1)
	if in.ID != "run1-1" || in.Kind != KindText || in.From != a || in.To != "40404" || in.Body != "gave 150" || in.Attached != 1 || !in.At.Equal(still()) {
		t.Errorf("Type = %+v", in)
	}
	if err := p.Send(ctx, Text{ID: "maple-17.2.0", To: b, Body: "x"}); err != nil {
		t.Fatal(err)
	}
	stop()
	p.Type(b, "40404", "not heard", 0)

	if got := p.Thread(a); len(got) != 2 || !got[0].Ours || got[0].Body != "time to feed" || got[1].Ours || got[1].Body != "gave 150" {
		t.Errorf("Thread(a) = %+v", got)
	}
	if got := p.All(); len(got) != 2 || got[0].Phone != b || got[0].Last.Body != "not heard" || got[1].Count != 2 {
		t.Errorf("All = %+v", got)
	}
	if len(heard) != 3 {
		t.Errorf("heard %d messages, want 3", len(heard))
	}
	if p.Thread("+12025550199") != nil {
		t.Error("an unknown phone has a thread")
	}
	var refusal *Refusal
	if err := p.Send(ctx, Text{ID: "x"}); !errors.As(err, &refusal) {
		t.Errorf("Send to nobody = %v, want a refusal", err)
	}
	gone, cancel := context.WithCancel(ctx)
	cancel()
	if err := p.Send(gone, Text{ID: "y", To: a}); !errors.Is(err, context.Canceled) || len(p.Thread(a)) != 2 {
		t.Errorf("Send under an ended context = %v", err)
	}
}

func TestPhonesAreBounded(t *testing.T) {
	p := NewPhones("r", still)
	ctx := context.Background()
	for i := range threadMost + 5 {
		p.Type("first", "", fmt.Sprint(i), 0)
	}
	if got := p.Thread("first"); len(got) != threadMost || got[0].Body != "5" {
		t.Errorf("%d messages kept, oldest %q; want %d, \"5\"", len(got), got[0].Body, threadMost)
	}
	for i := range knownMost + 1 {
		id := journal.TextID(fmt.Sprint("t", i))
		if err := p.Send(ctx, Text{ID: id, To: fmt.Sprint("+1", i%(phonesMost+5))}); err != nil {
			t.Fatal(err)
		}
	}
	if got := len(p.All()); got != phonesMost || p.Thread("first") != nil {
		t.Errorf("%d phones kept, want %d without the first", got, phonesMost)
	}
	if len(p.known) != knownMost || p.known["t0"] || !p.known["t1"] {
		t.Errorf("%d ids remembered, want %d, the oldest forgotten", len(p.known), knownMost)
	}
}

func TestPhonesConcurrently(t *testing.T) {
	p := NewPhones("r", still)
	defer p.Listen(func(PhoneText) { p.All() })()
	var wg sync.WaitGroup
	for g := range 8 {
		wg.Go(func() {
			for i := range 50 {
				_ = p.Send(context.Background(), Text{ID: journal.TextID(fmt.Sprint(i)), To: fmt.Sprint("+1", i%7)}) // the count below tells of failures
				p.Type(fmt.Sprint("+2", g), "", "x", 0)
			}
		})
	}
	wg.Wait()
	ours, typed := 0, 0
	for _, s := range p.All() {
		for _, m := range p.Thread(s.Phone) {
			if m.Ours {
				ours++
			} else {
				typed++
			}
		}
	}
	if ours != 50 || typed != 400 {
		t.Errorf("%d texts of ours and %d typed, want 50 and 400", ours, typed)
	}
}
